"""Is a plan true? Checked from the raw files of the folder, with none of the planner's geometry.

The only help taken from the package is the catalogue: where a machine's solids and fittings are.
"""

import csv
import json
import math
import tomllib
from collections import Counter
from collections.abc import Iterator
from pathlib import Path

from shapely import unary_union
from shapely.geometry import LineString, MultiPoint, MultiPolygon, Polygon, shape
from shapely.geometry.base import BaseGeometry

from greaseroute.catalogue.kinematics.placed import PlacedMachine, Pose, place
from greaseroute.catalogue.shelf import shelf_type
from greaseroute.plan.round import FittingTask, RoundPlan, StandVisit, TechnicianPlan

HEAD_ROOM_M = 2.5
TOUCH_M = 1e-6  # a path may run along an edge: a micrometre of it may round to the inside


def units_of(folder: Path) -> dict[str, PlacedMachine]:
    """Each unit of the fleet list, placed as the list says."""
    with (folder / "fleet.csv").open(encoding="utf-8") as lines:
        return {
            row["unit"]: place(
                shelf_type(row["type"]),
                Pose(
                    float(row["x_m"]),
                    float(row["y_m"]),
                    float(row["heading_deg"]),
                    slew_deg=float(row["slew_deg"] or 0),
                ),
                posture=row["posture"],
            )
            for row in csv.DictReader(lines)
        }


def closed_shapes(folder: Path) -> tuple[Polygon, BaseGeometry]:
    """The boundary, and everything of the ground plan that nobody may walk on."""
    features = json.loads((folder / "ground.geojson").read_text(encoding="utf-8"))["features"]
    by_role: dict[str, list[BaseGeometry]] = {}
    for feature in features:
        role = feature["properties"]["role"]
        by_role.setdefault(role, []).append(shape(feature["geometry"]))
    roads = unary_union(by_role.get("haul_road", [])).difference(
        unary_union(by_role.get("crossing", []))
    )
    fences = unary_union(by_role.get("barrier", [])).difference(
        unary_union([g.buffer(1e-3, cap_style="flat") for g in by_role.get("gate", [])])
    )
    solid = [*by_role.get("obstacle", []), *by_role.get("no_go", []), roads]
    (boundary,) = by_role["boundary"]
    return boundary, unary_union([*solid, fences.buffer(1e-3, cap_style="flat")])


def machine_ground(placed: PlacedMachine) -> BaseGeometry:
    """Ground under anything lower than head room, or hanging on oil, and not on the ground."""
    hulls = [
        MultiPoint([(x, y) for x, y, _ in solid.points_m]).convex_hull
        for solid in placed.solids
        if solid.on_oil or min(z for _, _, z in solid.points_m) < HEAD_ROOM_M
    ]
    return unary_union(hulls)


def assert_paths_are_free(plan: RoundPlan, folder: Path) -> int:
    """No leg cuts anything closed or leaves the boundary; gives the number of legs looked at."""
    boundary, closed = closed_shapes(folder)
    machines = unary_union([machine_ground(placed) for placed in units_of(folder).values()])
    ground = unary_union([closed, machines])
    legs = 0
    for technician in plan.technicians:
        for a, b in zip(technician.path, technician.path[1:], strict=False):
            if a == b:
                continue
            leg = LineString([a, b])
            assert leg.difference(boundary).length < TOUCH_M, (technician.name, a, b)
            assert _length_inside(leg, ground) < TOUCH_M, (technician.name, a, b)
            legs += 1
        assert math.isclose(technician.walk_m, _length(technician), rel_tol=1e-6, abs_tol=1e-3)
    return legs


def _length_inside(leg: LineString, ground: BaseGeometry) -> float:
    if not isinstance(ground, Polygon | MultiPolygon):
        return 0.0
    return leg.intersection(ground.buffer(-1e-6)).length


def _length(technician: TechnicianPlan) -> float:
    return sum(math.dist(a, b) for a, b in zip(technician.path, technician.path[1:], strict=False))


def tasks(plan: RoundPlan) -> Iterator[tuple[str, StandVisit, FittingTask, str]]:
    """Unit, stand, fitting and technician of everything pumped, in order."""
    for technician in plan.technicians:
        for stop in technician.stops:
            for stand in stop.stands:
                for task in stand.fittings:
                    yield stop.unit, stand, task, technician.name


def assert_due_served_or_listed(plan: RoundPlan, due: dict[tuple[str, str], set[str]]) -> None:
    """Each fitting of each due joint is pumped once, or listed with a reason; nothing else is."""
    pumped = Counter((unit, task.joint, task.fitting) for unit, _, task, _ in tasks(plan))
    assert not [key for key, times in pumped.items() if times > 1]
    left_joints = {(item.unit, item.joint) for item in plan.left if item.fitting is None}
    left_fittings = {(item.unit, item.joint, item.fitting) for item in plan.left if item.fitting}
    assert all(item.reason.strip() for item in plan.left)
    wanted = {(unit, joint, name) for (unit, joint), names in due.items() for name in names}
    assert set(pumped) <= wanted
    for unit, joint, fitting in wanted:
        listed = (unit, joint) in left_joints or (unit, joint, fitting) in left_fittings
        served = (unit, joint, fitting) in pumped
        assert served != listed, (unit, joint, fitting, served, listed)


def assert_in_reach(plan: RoundPlan, folder: Path) -> int:
    """Every fitting lies within arm and hose of its stand, and below the overhead limit."""
    settings = tomllib.loads((folder / "site.toml").read_text(encoding="utf-8"))
    hoses = {gun["name"]: gun.get("hose_m", 0.254) for gun in settings["gun"]}
    seen = 0
    for unit, stand, task, _ in tasks(plan):
        x, y, z = task.at_m
        assert math.hypot(x - stand.x_m, y - stand.y_m) <= 0.60 + hoses[task.gun] + 1e-6
        height_m = z - stand.height_m
        assert -0.3 <= height_m <= 1.80 + 1e-6, (unit, task)
        seen += 1
    return seen


def assert_strokes_and_cartridges(plan: RoundPlan, folder: Path) -> None:
    """Strokes by the ceiling rule per fitting; cartridges replayed along the walk."""
    settings = tomllib.loads((folder / "site.toml").read_text(encoding="utf-8"))
    greases = {grease["name"]: grease for grease in settings["grease"]}
    guns = {gun["name"]: gun for gun in settings["gun"]}
    put_in: Counter[str] = Counter()
    left: dict[tuple[str, str], int] = {}
    for _, _, task, technician in tasks(plan):
        gun, grease = guns[task.gun], greases[task.grease]
        assert gun["grease"] == task.grease  # one grease a gun
        density = grease.get("density_g_cm3", 0.90)
        stroke = gun.get("stroke_cm3") or gun["ten_strokes_g"] / 10 / density
        assert task.strokes == math.ceil(task.dose_cm3 / stroke - 1e-9)
        full = math.floor(
            grease.get("cartridge_g", 400.0) * grease.get("usable_share", 0.95) / density / stroke
            + 1e-9
        ) - gun.get("priming_strokes", 3)
        key = technician, task.gun
        changes = 0
        if left.get(key, gun.get("left_strokes", 0)) < task.strokes:
            # Changed before the fitting; what was left in the old one is not used further.
            changes = math.ceil(task.strokes / full)
            left[key] = changes * full
        left[key] -= task.strokes
        assert task.cartridge_change == (changes > 0), task
        assert task.put_in == changes, task
        put_in[task.grease] += changes
    for name, count in plan.cartridges.items():
        assert count.used == put_in[name], (name, count, put_in)
        assert count.carry == count.used + count.reserve
