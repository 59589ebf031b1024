"""Make a site folder of any number of units, for measuring.

    python -m tests.bench.big_site FOLDER UNITS [SEED [TECHNICIANS]]

Units stand in cells of 32 m, one cell in five holds a stockpile instead; a haul road with two
crossings runs between every eighth pair of columns, a fence with four gates between every eighth
pair of rows. All that comes up more often than every 100 h is due: some thirteen fittings a unit.
"""

import json
import math
import random
import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent.parent.parent))

from greaseroute.catalogue.shelf import shelf_names, shelf_type
from tests.site_maker import CELL_M, _blob, _centre, _feature, _rectangle

UNITS_EACH = 50  # for one technician
SITE_TOML = """\
name = "Big {units}"
time_zone = "UTC"
coordinates = "local metres"
shift_start = "23:00"
round_start = "00:30"
planned_for = "2031-03-04T00:30:00+00:00"

[rules]
clearance_m = 0.25
look_ahead_h = 8
walking_speed_m_s = 1.2

[[grease]]
name = "plain"
nlgi = "2"
thickener = "lithium complex"

[[grease]]
name = "moly"
nlgi = "2"
thickener = "lithium complex"
moly = true

"""
TECHNICIAN = """
[[gun]]
name = "lever of {name}"
grease = "plain"
stroke_cm3 = 1.42

[[gun]]
name = "second of {name}"
grease = "moly"
stroke_cm3 = 1.42

[[technician]]
name = "{name}"
start = "store"
finish = "store"
guns = ["lever of {name}", "second of {name}"]
bag_cartridges = {cartridges}
"""


def write_big_site(folder: Path, *, units: int, seed: int = 1, technicians: int = 0) -> Path:
    """Write the folder; the store is near the middle of the south side.

    ``technicians``: one for each 50 units if 0.
    """
    crew = technicians or -(-units // UNITS_EACH)
    rng = random.Random(seed)
    columns = math.ceil(math.sqrt(units / 0.8))
    rows = math.ceil(units / 0.8 / columns)
    cells = [(c, r) for c in range(columns) for r in range(rows)]
    rng.shuffle(cells)
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "site.toml").write_text(
        SITE_TOML.format(units=units)
        + "".join(TECHNICIAN.format(name=f"T{k + 1}", cartridges=400) for k in range(crew)),
        encoding="utf-8",
    )
    header = "unit,type,x_m,y_m,heading_deg,posture,slew_deg,meter_h,hours_per_day,severity,notes\n"
    rows_text = [_row(rng, number, cell) for number, cell in enumerate(cells[:units])]
    (folder / "fleet.csv").write_text(header + "".join(rows_text), encoding="utf-8")
    services = [_service(row) for row in rows_text]
    (folder / "last_services.csv").write_text(
        "unit,joint,at,meter_h\n" + "".join(services), encoding="utf-8"
    )
    features = _ground(rng, (columns, rows), cells[units:])
    lines = ",\n".join(json.dumps(feature) for feature in features)
    (folder / "ground.geojson").write_text(
        '{"type": "FeatureCollection", "features": [\n' + lines + "\n]}\n", encoding="utf-8"
    )
    return folder


def _row(rng: random.Random, number: int, cell: tuple[int, int]) -> str:
    x, y = _centre(cell)
    return (
        f"U-{number + 1:03},{rng.choice(shelf_names())},{x + rng.uniform(-1, 1):.2f},"
        f"{y + rng.uniform(-1, 1):.2f},{rng.randrange(0, 360)},greasing,0,"
        f"{rng.randint(1000, 9000)},8,,\n"
    )


def _service(row: str) -> str:
    """Whatever comes up every 100 h or less often was done yesterday; the rest never."""
    unit, machine_type, *_, meter_h, _, _, _ = row.strip().split(",")
    rare = {
        joint.interval_class
        for joint in shelf_type(machine_type).joints
        if joint.interval is not None and (joint.interval.hours or 0) >= 100
    }
    done_h = float(meter_h) - 8
    return "".join(f"{unit},{name},2031-03-03T05:00:00+00:00,{done_h:g}\n" for name in sorted(rare))


def _ground(rng: random.Random, board: tuple[int, int], empty: list[tuple[int, int]]) -> list[dict]:
    width, height = 20 + CELL_M * board[0], 20 + CELL_M * board[1]
    middle = board[0] // 2
    store_x = 10 + CELL_M * (middle + (0.5 if middle % 8 == 0 else 0.0))  # beside a road, not on it
    features = [
        _feature("boundary", "Polygon", _rectangle(0, 0, width, height), name="yard"),
        _feature("place", "Point", [store_x, 4.0], name="store", kind="store"),
    ]
    features += [
        _feature("obstacle", "Polygon", _blob(rng, _centre(cell)), name=f"stockpile {number}")
        for number, cell in enumerate(empty)
    ]
    for column in range(8, board[0], 8):
        features += _road(10 + CELL_M * column, height)
    for row in range(8, board[1], 8):
        features += _fence(10 + CELL_M * row, width)
    return features


def _road(x: float, height: float) -> list[dict]:
    road = _rectangle(x - 3, 0, x + 3, height)
    spans = [(height * share - 2, height * share + 2) for share in (0.25, 0.75)]
    return [
        _feature("haul_road", "Polygon", road, name=f"road {x:g}"),
        *(
            _feature(
                "crossing", "Polygon", _rectangle(x - 4, low, x + 4, high), name="x", wait_s=20
            )
            for low, high in spans
        ),
    ]


def _fence(y: float, width: float) -> list[dict]:
    gates = [width * share for share in (0.125, 0.375, 0.625, 0.875)]
    return [
        _feature("barrier", "LineString", [[0, y], [width, y]], name=f"fence {y:g}"),
        *(
            _feature("gate", "LineString", [[x - 1, y], [x + 1, y]], name=f"gate {x:.0f} {y:g}")
            for x in gates
        ),
    ]


if __name__ == "__main__":
    units, seed, technicians = [*map(int, sys.argv[2:]), *(1, 0)[len(sys.argv) - 3 :]]
    folder = Path(sys.argv[1])
    print(write_big_site(folder, units=units, seed=seed, technicians=technicians))
