"""Random site folders of every breadth a plan has to stand: see `write_broad_site`.

On the board of `site_maker`: one to five machines of any type of the shelf, one to three
technicians with guns, reach, pace, skills and bags of their own, windows, zones and crossings that
open and shut, slow ground, slopes, greases, severities, replaced meters. All of it by one seed.
"""

import json
import random
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path

from shapely import GEOSException

from greaseroute.audit.audit import audit_round
from greaseroute.audit.finding import Finding
from greaseroute.catalogue.machine_type import MachineType
from greaseroute.catalogue.shelf import shelf_names, shelf_type
from greaseroute.plan.round import RoundPlan
from greaseroute.rounds.planner import plan_round
from greaseroute.rounds.request import Effort, RoundRequest
from greaseroute.site.folder import read_site
from greaseroute.site.model import Site
from tests.site_maker import (
    CELL_M,
    PLANNED_FOR,
    _blob,
    _centre,
    _feature,
    _rectangle,
)

GREASES = {
    "plain": {"nlgi": "2", "thickener": "lithium complex", "moly": False, "code": "KP2K-30"},
    "moly": {"nlgi": "2", "thickener": "lithium complex", "moly": True, "code": "KPF2K-20"},
    "gear": {"nlgi": "0", "thickener": "lithium complex", "moly": False, "code": "GP0K-30"},
}
SHIFTS = ("05:40", "06:15", "07:00", "08:30", "11:00")
SKILL = "high lift"
STEPS = 400


def write_broad_site(folder: Path, seed: int) -> Path:
    """Write one random site into ``folder`` (made if need be) and return it."""
    rng = random.Random(seed)
    folder.mkdir(parents=True, exist_ok=True)
    board = rng.randint(2, 3), rng.randint(1, 3)
    cells = [(c, r) for c in range(board[0]) for r in range(board[1])]
    rng.shuffle(cells)
    taken = cells[: rng.randint(1, min(5, len(cells)))]
    units = [_unit(rng, number, cell) for number, cell in enumerate(taken)]
    files = {
        "site.toml": _site_toml(rng, seed),
        "fleet.csv": _table(units),
        "ground.geojson": _ground_text(rng, board, cells[len(taken) :]),
        "last_services.csv": _table(_services(rng, units), "unit,joint,at,meter_h"),
        "meter_readings.csv": _table(_readings(rng, units), "unit,at,meter_h,new_meter"),
    }
    for name, text in files.items():
        (folder / name).write_text(text, encoding="utf-8")
    return folder


def _table(rows: Sequence[dict[str, object]], header: str = "") -> str:
    names = header.split(",") if header else list(rows[0])
    lines = [",".join(str(row[name]) for name in names) for row in rows]
    return "\n".join([",".join(names), *lines]) + "\n"


# ------------------------------------------------------------------ site.toml


def _site_toml(rng: random.Random, seed: int) -> str:
    parts = [
        f'name = "Board {seed}"\ntime_zone = "UTC"\ncoordinates = "local metres"\n'
        f'shift_start = "{rng.choice(SHIFTS)}"\nround_start = "05:00"\n'
        'planned_for = "2031-03-04T05:00:00+00:00"\n',
        _section("rules", _rules(rng)),
        *(_section("[grease]", g) for g in _greases(rng)),
    ]
    for name in ("Ada", "Bo", "Cy")[: rng.choice([1, 1, 1, 2, 2, 3])]:
        guns = _guns(rng, name)
        parts += [_section("[gun]", gun) for gun in guns]
        parts.append(_section("[technician]", _technician(rng, name, guns)))
        if rng.random() < 0.5:
            parts.append(_section("technician.reach", _reach(rng)))
    for name, factor in (("dust", 0.6), ("water", 0.5)):
        parts.append(_section("[severity]", {"name": name, "interval_factor": factor}))
    return "\n".join(parts)


def _section(name: str, values: dict[str, object]) -> str:
    return "\n".join([f"[{name}]", *(f"{k} = {json.dumps(v)}" for k, v in values.items()), ""])


def _rules(rng: random.Random) -> dict[str, object]:
    rules: dict[str, object] = {
        "clearance_m": rng.choice([0.0, 0.2, 0.25, 0.3, 0.45]),
        "look_ahead_h": rng.choice([0, 4, 8]),
        "walking_speed_m_s": rng.choice([1.0, 1.2, 1.35]),
        "isolation_s": rng.choice([0, 60, 120]),
        "posture_moves": rng.random() < 0.6,
        "posture_move_min": rng.choice([0.5, 3.0]),
        "reload_s": rng.choice([0, 60]),
    }
    if rng.random() < 0.25:
        begin = rng.choice([0, 5, 20])
        rules["second_person_from"] = f"05:{begin:02}"
        rules["second_person_to"] = rng.choice(["05:35", "06:00"])
    return rules


def _greases(rng: random.Random) -> list[dict[str, object]]:
    return [
        {"name": name, **values, "cartridge_g": rng.choice([40, 60, 120, 400]),
         "reserve_cartridges": rng.choice([0, 0, 1, 2])}
        for name, values in GREASES.items()
    ]  # fmt: skip


def _guns(rng: random.Random, owner: str) -> list[dict[str, object]]:
    kept = [g for g in GREASES if rng.random() < (0.9 if g != "gear" else 0.5)] or ["plain"]
    if rng.random() < 0.2:
        kept.append("plain")  # a second gun of the same grease, with a hose of its own
    guns = []
    for number, grease in enumerate(kept):
        gun: dict[str, object] = {"name": f"{grease} {number} of {owner}", "grease": grease}
        if rng.random() < 0.5:
            gun["stroke_cm3"] = rng.choice([0.8, 1.0, 1.42])
        else:
            gun["ten_strokes_g"] = rng.choice([8.0, 9.0, 12.8])
        gun |= {
            "stroke_s": rng.choice([0.8, 1.5]),
            "priming_strokes": rng.choice([0, 3]),
            "left_strokes": rng.choice([0, 7, 25, 150]),
            "change_s": rng.choice([0, 90]),
            "hose_m": rng.choice([0.25, 0.3, 0.6]),
        }
        guns.append(gun)
    return guns


def _technician(
    rng: random.Random, name: str, guns: Sequence[dict[str, object]]
) -> dict[str, object]:
    person: dict[str, object] = {
        "name": name,
        "start": rng.choice(["store", "door"]),
        "finish": rng.choice(["store", "door"]),
        "guns": [gun["name"] for gun in guns],
        "bag_cartridges": rng.choice([1, 2, 3, 5, 30]),
        "skills": [SKILL] if name == "Ada" or rng.random() < 0.5 else [],
    }
    if rng.random() < 0.3:
        person["speed_m_s"] = rng.choice([0.9, 1.5])
    if rng.random() < 0.3:
        person["starts_at"] = rng.choice(["04:30", "05:10", "05:35"])
    return person


def _reach(rng: random.Random) -> dict[str, object]:
    return {
        "arm_m": rng.choice([0.5, 0.7]),
        "shoulder_m": rng.choice([1.3, 1.5]),
        "overhead_to_m": rng.choice([1.8, 1.95]),
        "climb_m_s": rng.choice([0.2, 0.4]),
        "settle_s": rng.choice([0, 5]),
    }


# ------------------------------------------------------------------ fleet and history


def _unit(rng: random.Random, number: int, cell: tuple[int, int]) -> dict[str, object]:
    kind = rng.choice(shelf_names())
    machine = shelf_type(kind)
    x, y = _centre(cell)
    come, stay = rng.choice([None, 5, 20, 40]), rng.choice([None, 20, 45, 90])
    come = come if rng.random() < 0.3 else None
    stay = stay if rng.random() < 0.3 else None
    return {
        "unit": f"U-{number + 1}",
        "type": kind,
        "x_m": round(x + rng.uniform(-1, 1), 2),
        "y_m": round(y + rng.uniform(-1, 1), 2),
        "heading_deg": rng.randrange(0, 360),
        "posture": _posture(rng, machine),
        "slew_deg": rng.choice([0, 0, 30, -75]) if machine.slew_link else 0,
        "meter_h": rng.randint(200, 9000),
        "hours_per_day": rng.choice([4, 8, 10]),
        "parked_from": _clock(come),
        "parked_to": _clock(None if stay is None else (come or 0) + stay),
        "severity": rng.choice(["", "", "dust", "water"]),
        "skill": SKILL if rng.random() < 0.15 else "",
    }


def _clock(minutes: int | None) -> str:
    if minutes is None:
        return ""
    return f"{PLANNED_FOR + timedelta(minutes=minutes):%H:%M}"


def _posture(rng: random.Random, machine: MachineType) -> str:
    """As it was parked, or ready for greasing; any other posture now and then."""
    names = [posture.name for posture in machine.postures]
    return rng.choice(names) if rng.random() < 0.2 else rng.choice(names[:2])


def _services(rng: random.Random, units: Sequence[dict[str, object]]) -> list[dict[str, object]]:
    """Services by class, now and then of one joint, at hours that fit the meter."""
    rows = []
    for unit in units:
        joints = [j for j in shelf_type(str(unit["type"])).joints if not j.never_pump]
        names = sorted({j.interval_class for j in joints})
        names += rng.sample([j.name for j in joints], k=min(2, len(joints)))
        rows += [
            _dated(unit, rng.choice([1, 3, 9, 30, 60]), joint=name)
            for name in names
            if rng.random() < 0.7
        ]
    return rows


def _dated(unit: dict[str, object], days_ago: int, **more: object) -> dict[str, object]:
    """A record so many days ago, at the hours that the unit had by its hours per day then."""
    at = PLANNED_FOR - timedelta(days=days_ago, hours=11)
    hours = float(str(unit["meter_h"])) - days_ago * float(str(unit["hours_per_day"]))
    return {"unit": unit["unit"], "at": _text(at), "meter_h": max(0, hours), **more}


def _text(at: datetime) -> str:
    return at.strftime("%Y-%m-%dT%H:%M:%S+00:00")


def _readings(rng: random.Random, units: Sequence[dict[str, object]]) -> list[dict[str, object]]:
    """Readings of some meters; some were replaced by one that had run before."""
    rows = []
    for unit in units:
        if rng.random() < 0.4:
            rows += [_dated(unit, days, new_meter="") for days in (8, 2)]
        if rng.random() < 0.3:
            replaced = _dated(unit, 4, new_meter="true")
            rows.append({**replaced, "meter_h": float(str(replaced["meter_h"]))})
    return rows


# ------------------------------------------------------------------ ground.geojson


def _ground_text(
    rng: random.Random, board: tuple[int, int], empty: Sequence[tuple[int, int]]
) -> str:
    width, height = 20 + CELL_M * board[0], 20 + CELL_M * board[1]
    features = [
        _feature("boundary", "Polygon", _rectangle(0, 0, width, height), name="yard"),
        _feature("place", "Point", [3.0, 3.0], name="store", kind="store"),
        _feature("place", "Point", [width - 3.0, 3.0], name="door", kind="start"),
    ]
    if rng.random() < 0.4:
        far = _feature("place", "Point", [3.0, height - 3.0], name="cabin", kind="store")
        features.append(far)
    for number, cell in enumerate(empty):
        features += _in_cell(rng, number, cell)
    if board[1] > 1 and rng.random() < 0.6:
        features += _fence(rng, width, 10 + CELL_M * rng.randint(1, board[1] - 1))
    if rng.random() < 0.6:
        features += _road(rng, height, 10 + CELL_M * rng.randint(1, board[0] - 1))
    if rng.random() < 0.4:
        low, high = rng.uniform(5, width / 2), rng.uniform(width / 2, width - 5)
        mud = _rectangle(low, 4.0, high, rng.uniform(8, height - 5))
        factor = rng.choice([1.19, 1.8, 5.0])
        features.append(_feature("slow_ground", "Polygon", mud, name="mud", time_factor=factor))
    if rng.random() < 0.4:
        features += _slope(rng, width, height)
    lines = ",\n".join(json.dumps(feature) for feature in features)
    return '{"type": "FeatureCollection", "features": [\n' + lines + "\n]}\n"


def _in_cell(rng: random.Random, number: int, cell: tuple[int, int]) -> list[dict]:
    """An obstacle, a zone that is shut always or for a while, or nothing."""
    role = rng.choice(["obstacle", "obstacle", "no_go", "timed", "nothing"])
    if role == "nothing":
        return []
    blob = _blob(rng, _centre(cell))
    if role == "timed":
        return [_feature("no_go", "Polygon", blob, name=f"zone {number}", hours=[_hours(rng)])]
    return [_feature(role, "Polygon", blob, name=f"{role} {number}")]


def _hours(rng: random.Random) -> str:
    begin = PLANNED_FOR + timedelta(minutes=rng.choice([-30, 1, 5, 12, 30]))
    end = begin + timedelta(minutes=rng.choice([3, 10, 45]))
    return f"{begin:%H:%M}-{end:%H:%M}"


def _fence(rng: random.Random, width: float, y: float) -> list[dict]:
    features = [_feature("barrier", "LineString", [[0, y], [width, y]], name="fence")]
    for number in range(rng.choice([0, 1, 1, 1, 2])):
        x = rng.uniform(5, width - 5)
        gate = [[round(x - 1, 3), y], [round(x + 1, 3), y]]
        features.append(_feature("gate", "LineString", gate, name=f"gate {number}"))
    return features


def _road(rng: random.Random, height: float, x: float) -> list[dict]:
    road = _feature("haul_road", "Polygon", _rectangle(x - 3, 0, x + 3, height), name="main road")
    features = [road]
    for number, y in enumerate([rng.uniform(4, 8), height - rng.uniform(4, 8)]):
        if number and rng.random() < 0.5:
            continue
        timed = {"hours": [_hours(rng)]} if rng.random() < 0.5 else {}
        wait_s = rng.choice([0, 15, 40])
        area = _rectangle(x - 4, y - 1.5, x + 4, y + 1.5)
        name = f"crossing {number}"
        features.append(_feature("crossing", "Polygon", area, name=name, wait_s=wait_s, **timed))
    return features


def _slope(rng: random.Random, width: float, height: float) -> list[dict]:
    """Heights at the corners and a few more spots."""
    spots = [(0.0, 0.0), (width, 0.0), (0.0, height), (width, height)]
    spots += [(rng.uniform(5, width - 5), rng.uniform(5, height - 5)) for _ in range(3)]
    return [
        _feature("spot_height", "Point", [round(x, 2), round(y, 2), round(rng.uniform(0, 8), 2)])
        for x, y in spots
    ]


# ------------------------------------------------------------------ planned and audited


@dataclass(frozen=True)
class Audited:
    """One site planned and audited; ``holds`` counts what site and plan hold."""

    plan: RoundPlan | None
    findings: tuple[Finding, ...]
    holds: Counter[str]


def audited(folder: Path, seed: int, *, prove: bool | None = None) -> Audited:
    """The site of a seed, planned with few steps, and what the audit finds.

    A bound is sought (``prove``) on every fourth site if it is not said. A site that cannot be
    planned counts as a finding.
    """
    site = read_site(write_broad_site(folder / f"board-{seed}", seed))
    assert site.planned_for is not None
    proved = seed % 4 == 0 if prove is None else prove
    try:
        effort = Effort(1, iterations=STEPS, prove=proved)
        plan = plan_round(site, RoundRequest(site.planned_for), effort=effort)
    except (AssertionError, GEOSException) as error:
        return Audited(None, (Finding(promise="no plan", what=str(error)),), _held(site, None))
    findings = audit_round(site, plan).findings
    if not proved:
        findings = tuple(f for f in findings if f.promise != "certificate")
    return Audited(plan, findings, _held(site, plan))


def _held(site: Site, plan: RoundPlan | None) -> Counter[str]:
    ground = site.ground
    held = Counter(
        units=len(site.units),
        several=len(site.technicians) > 1,
        slow=len(ground.slow_ground),
        slope=len(ground.spot_heights) > 0,
        timed=sum(bool(a.hours) for a in (*ground.no_go, *ground.crossings)),
        replaced=sum(r.new_meter for r in site.meter_readings),
        window=sum(u.parked_from_clock is not None for u in site.units),
    )
    for technician in () if plan is None else plan.technicians:
        held["wait"] += technician.wait_s > 0
        for stop in technician.stops:
            held["reload" if stop.reload else "visits"] += 1
            for stand in stop.stands:
                held.update(fittings=len(stand.fittings), deck=stand.deck is not None)
                held[stand.event] += 1
    held["left"] = 0 if plan is None else len(plan.left)
    return held
