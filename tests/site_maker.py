"""Random site folders: small, invented, and free of faults by construction.

The ground is a board of 32 m cells with a machine, an obstacle or nothing in each; fences run
between rows and haul roads between columns, so that nothing stands on anything else.
"""

import json
import math
import random
from datetime import UTC, datetime, timedelta
from pathlib import Path

from greaseroute.catalogue.shelf import shelf_type

CELL_M = 32.0
PLANNED_FOR = datetime(2031, 3, 4, 5, tzinfo=UTC)
TYPES = (
    "crawler-excavator-22t",
    "wheel-loader-20t",
    "articulated-dumper-30t",
    "crawler-dozer-20t",
    "grader-18t",
)

SITE_TOML = """\
name = "Board {seed}"
time_zone = "UTC"
coordinates = "local metres"
shift_start = "{shift}"
round_start = "05:00"
planned_for = "2031-03-04T05:00:00+00:00"

[rules]
clearance_m = {clearance}
look_ahead_h = {look_ahead}
walking_speed_m_s = 1.2
posture_moves = {moves}

[[grease]]
name = "plain"
nlgi = "2"
thickener = "lithium complex"
moly = false
cartridge_g = {cartridge_g}
reserve_cartridges = 1

[[grease]]
name = "moly"
nlgi = "2"
thickener = "lithium complex"
moly = true

[[person]]
name = "mate"
on_site_from = "00:00"
on_site_to = "00:00"
at_once = 3

"""

TECHNICIAN = """
[[gun]]
name = "lever of {name}"
grease = "plain"
stroke_cm3 = {stroke}

[[gun]]
name = "second of {name}"
grease = "moly"
ten_strokes_g = 9.0

[[technician]]
name = "{name}"
start = "store"
finish = "store"
guns = ["lever of {name}", "second of {name}"]
bag_cartridges = 30
"""


def write_random_site(folder: Path, seed: int) -> Path:
    """Write one random site into ``folder`` (made if need be) and return it."""
    rng = random.Random(seed)
    columns, rows = rng.randint(2, 3), rng.randint(1, 3)
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "site.toml").write_text(_site_text(rng, seed), encoding="utf-8")
    cells = [(c, r) for c in range(columns) for r in range(rows)]
    rng.shuffle(cells)
    n_units = rng.randint(1, min(4, len(cells)))
    fleet = [_unit_row(rng, number, cell) for number, cell in enumerate(cells[:n_units])]
    header = "unit,type,x_m,y_m,heading_deg,posture,slew_deg,meter_h,hours_per_day,severity,notes\n"
    (folder / "fleet.csv").write_text(header + "".join(fleet), encoding="utf-8")
    features = _ground(rng, (columns, rows), cells[n_units:])
    text = ",\n".join(json.dumps(feature) for feature in features)
    (folder / "ground.geojson").write_text(
        '{"type": "FeatureCollection", "features": [\n' + text + "\n]}\n", encoding="utf-8"
    )
    services = "unit,joint,at,meter_h\n" + "".join(_services(rng, fleet))
    (folder / "last_services.csv").write_text(services, encoding="utf-8")
    return folder


def _site_text(rng: random.Random, seed: int) -> str:
    text = SITE_TOML.format(
        seed=seed,
        shift=rng.choice(["08:00", "11:00"]),
        clearance=rng.choice([0.2, 0.25, 0.3]),
        look_ahead=rng.choice([0, 8]),
        moves=rng.choice(["true", "false"]),
        cartridge_g=rng.choice([60, 400]),
    )
    stroke = rng.choice([0.9, 1.0, 1.42])
    names = ["Ada"] if rng.random() < 0.7 else ["Ada", "Bo"]
    return text + "".join(TECHNICIAN.format(name=name, stroke=stroke) for name in names)


def _centre(cell: tuple[int, int]) -> tuple[float, float]:
    return 10 + CELL_M * (cell[0] + 0.5), 10 + CELL_M * (cell[1] + 0.5)


def _unit_row(rng: random.Random, number: int, cell: tuple[int, int]) -> str:
    x, y = _centre(cell)
    return (
        f"U-{number + 1},{rng.choice(TYPES)},{x + rng.uniform(-1, 1):.2f},"
        f"{y + rng.uniform(-1, 1):.2f},{rng.randrange(0, 360)},"
        f"{rng.choice(['parked', 'greasing'])},0,{rng.randint(200, 9000)},8,,\n"
    )


def _services(rng: random.Random, fleet: list[str]) -> list[str]:
    rows = []
    for row in fleet:
        unit, machine_type, meter_h = row.split(",")[0], row.split(",")[1], int(row.split(",")[7])
        classes = {j.interval_class for j in shelf_type(machine_type).joints if not j.never_pump}
        for name in sorted(classes):
            if rng.random() < 0.6:
                ago_h = rng.randint(0, 60)
                at = PLANNED_FOR - timedelta(days=ago_h / 8)  # eight hours a day on one meter
                rows.append(f"{unit},{name},{at.isoformat()},{meter_h - ago_h}\n")
    return rows


def _feature(role: str, geometry: str, coordinates: list, **properties: object) -> dict:
    return {
        "type": "Feature",
        "properties": {"role": role, **properties},
        "geometry": {"type": geometry, "coordinates": coordinates},
    }


def _rectangle(x0: float, y0: float, x1: float, y1: float) -> list:
    return [[[x0, y0], [x1, y0], [x1, y1], [x0, y1], [x0, y0]]]


def _blob(rng: random.Random, centre: tuple[float, float]) -> list:
    n = rng.randint(4, 11)
    radius = rng.uniform(3, 10)
    ring = []
    for k in range(n):
        r = radius * rng.uniform(0.6, 1.0)
        a = 2 * math.pi * (k + rng.uniform(-0.3, 0.3)) / n
        ring.append([round(centre[0] + r * math.cos(a), 3), round(centre[1] + r * math.sin(a), 3)])
    return [[*ring, ring[0]]]


def _ground(rng: random.Random, board: tuple[int, int], empty: list[tuple[int, int]]) -> list[dict]:
    width, height = 20 + CELL_M * board[0], 20 + CELL_M * board[1]
    features = [
        _feature("boundary", "Polygon", _rectangle(0, 0, width, height), name="yard"),
        _feature("place", "Point", [3.0, 3.0], name="store", kind="store"),
    ]
    for number, cell in enumerate(empty):
        if rng.random() < 0.7:
            role = rng.choice(["obstacle", "obstacle", "no_go"])
            blob = _blob(rng, _centre(cell))
            features.append(_feature(role, "Polygon", blob, name=f"{role} {number}"))
    if board[1] > 1 and rng.random() < 0.6:
        features += _fence(rng, width, 10 + CELL_M * rng.randint(1, board[1] - 1))
    if rng.random() < 0.5:
        features += _road(rng, height, 10 + CELL_M * rng.randint(1, board[0] - 1))
    return features


def _fence(rng: random.Random, width: float, y: float) -> list[dict]:
    x = rng.uniform(5, width - 5)
    features = [_feature("barrier", "LineString", [[0, y], [width, y]], name="fence")]
    if rng.random() < 0.85:  # now and then a fence with no gate cuts a row off
        gate = [[round(x - 1, 3), y], [round(x + 1, 3), y]]
        features.append(_feature("gate", "LineString", gate, name="gate"))
    return features


def _road(rng: random.Random, height: float, x: float) -> list[dict]:
    y = rng.uniform(4, 8)
    return [
        _feature("haul_road", "Polygon", _rectangle(x - 3, 0, x + 3, height), name="main road"),
        _feature(
            "crossing",
            "Polygon",
            _rectangle(x - 4, y - 1.5, x + 4, y + 1.5),
            name="crossing",
            wait_s=rng.choice([0, 15, 40]),
        ),
    ]
