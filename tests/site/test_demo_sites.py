"""The demo sites are good, big enough, and can be walked: seen with shapely on the raw shapes."""

from collections import Counter
from pathlib import Path

import pytest
from pyproj import Geod
from shapely.geometry import LineString, Point
from shapely.ops import unary_union

from greaseroute.catalogue.kinematics.placed import Pose, place
from greaseroute.intervals.worklist import work_list
from greaseroute.site.folder import gather, read_site

DEMOS = Path(__file__).parents[2] / "sites_demo"
NAMES = sorted(p.name for p in DEMOS.iterdir() if p.is_dir())
QUARRY, HARBOUR, THREE = "quarry_ruttersby", "harbour_skarnholm", "three_machines"
RENTAL = "rental_ostrumby"
HEADROOM_M = 2.5
ARM_AND_HOSE_M = 0.85


def _placed(site):
    for unit in site.units:
        machine = site.machine(unit)
        pose = Pose(unit.x_m, unit.y_m, unit.heading_deg, unit.slew_deg)
        yield unit, place(machine, pose, posture=unit.posture)


def _low_ground(machine):
    return unary_union([s.footprint for s in machine.solids if s.bottom_m < HEADROOM_M])


def _walkable(site):
    """The free ground a technician can get to from the first start, all timed zones shut."""
    plan, clearance_m = site.ground, site.rules.clearance_m
    crossings = unary_union([c.polygon for c in plan.crossings])
    roads = unary_union([r.polygon for r in plan.haul_roads]).difference(crossings)
    gates = [g.opening.buffer(1e-6, cap_style="flat") for g in plan.gates]
    fences = unary_union([b.line_string for b in plan.barriers]).difference(unary_union(gates))
    closed = [a.polygon for a in (*plan.obstacles, *plan.no_go)]
    closed += [_low_ground(machine) for _, machine in _placed(site)]
    blocked = unary_union([*closed, roads, fences]).buffer(clearance_m)
    free = plan.boundary.difference(blocked)
    start = next(p.point for p in plan.places if p.name == site.technicians[0].start)
    return next(part for part in getattr(free, "geoms", [free]) if part.distance(start) < 1e-9)


def test_there_are_three_or_more():
    assert {QUARRY, HARBOUR, RENTAL, THREE} <= set(NAMES)


@pytest.mark.parametrize("name", NAMES)
def test_every_demo_site_is_good(name):
    site, faults = gather(DEMOS / name)
    assert faults == ()
    assert site.planned_for is not None


@pytest.mark.parametrize("name", NAMES)
def test_every_machine_and_place_can_be_walked_to(name):
    site = read_site(DEMOS / name)
    ground = _walkable(site) if name != THREE else site.ground.boundary
    for place_ in site.ground.places:
        assert ground.distance(place_.point) < 1e-9, place_.name
    for unit, machine in _placed(site):
        # Somewhere on walkable ground an arm and a hose away from the machine.
        near = ground.intersection(_low_ground(machine).buffer(ARM_AND_HOSE_M))
        assert near.area > 1.0, unit.unit


@pytest.mark.parametrize("name", NAMES)
def test_no_two_machines_stand_so_close_that_nobody_passes(name):
    # 2 x clearance and a body (0.6 m) between any two outlines.
    site = read_site(DEMOS / name)
    machines = [(u.unit, _low_ground(m)) for u, m in _placed(site)]
    least_m = 2 * site.rules.clearance_m + 0.6
    close = [
        (a, b)
        for n, (a, one) in enumerate(machines)
        for b, other in machines[:n]
        if one.distance(other) < least_m
    ]
    assert close == []


def test_the_quarry_is_a_big_one():
    site = read_site(DEMOS / QUARRY)
    plan = site.ground
    fittings = sum(len(j.fittings) for _, m in _placed(site) for j in m.machine_type.joints)
    assert len(site.units) >= 40
    assert fittings >= 500
    assert len(site.technicians) == 2
    assert len(plan.haul_roads) >= 2
    assert len(plan.crossings) >= 3
    assert all(c.wait_s > 0 for c in plan.crossings)
    kinds = Counter(a.kind for a in plan.obstacles)
    assert kinds["pond"] >= 1
    assert kinds["stockpile"] >= 5
    assert {"fence", "bench edge"} <= {b.kind for b in plan.barriers}
    assert len(plan.gates) >= 4
    assert any(z.hours for z in plan.no_go)
    assert plan.slow_ground
    assert plan.spot_heights
    assert {"store", "wash bay"} <= {p.kind for p in plan.places}
    readings = Counter(r.unit for r in site.meter_readings)
    assert sum(count >= 10 for count in readings.values()) >= 15


def test_the_quarry_has_a_full_morning_of_due_fittings():
    site = read_site(DEMOS / QUARRY)
    items = work_list(site, site.planned_for)
    due = sum(i.fittings for i in items if i.due)
    assert 300 <= due <= 600
    assert any(i.due and "never recorded" in i.reason for i in items)
    assert {i.status for i in items} >= {"due", "ahead", "not due", "never pumped"}
    assert not any("ran back" in i.reason for i in items)


def test_the_harbour_comes_in_lon_and_lat_with_two_greases():
    site = read_site(DEMOS / HARBOUR)
    assert site.coordinates == "lon/lat"
    assert 12 <= len(site.units) <= 20
    assert len(site.greases) == len(site.guns) == 2
    assert {"quay edge", "rail"} <= {b.kind for b in site.ground.barriers}
    assert any(a.kind == "water" for a in site.ground.obstacles)
    # Its own machine type stands beside those of the shelf.
    assert "material-handler-17t" in site.types


def test_the_harbours_metres_are_geodesic_metres():
    site = read_site(DEMOS / HARBOUR)
    rows = (DEMOS / HARBOUR / "fleet.csv").read_text(encoding="utf-8").splitlines()[1:]
    lonlat = {c[0]: (float(c[2]), float(c[3])) for c in (r.split(";") for r in rows)}
    first, last = site.units[0], site.units[-1]
    (lon1, lat1), (lon2, lat2) = lonlat[first.unit], lonlat[last.unit]
    true_m = Geod(ellps="WGS84").inv(lon1, lat1, lon2, lat2)[2]
    plane_m = Point(first.x_m, first.y_m).distance(Point(last.x_m, last.y_m))
    assert plane_m > 50
    assert plane_m == pytest.approx(true_m, rel=1e-6)


def test_the_pontoon_is_reached_over_the_gangway_alone():
    site = read_site(DEMOS / HARBOUR)
    edge = next(b for b in site.ground.barriers if b.name == "quay edge")
    gangway = next(g for g in site.ground.gates if g.name == "gangway")
    handler = next(u for u in site.units if u.unit == "MH-2")
    store = next(p.point for p in site.ground.places if p.name == "quay box")
    assert LineString([store, (handler.x_m, handler.y_m)]).crosses(edge.line_string)
    assert edge.line_string.distance(gangway.opening) < 1e-6
    assert gangway.opening.length == pytest.approx(2.4, abs=0.01)


def test_three_machines_by_hand():
    site = read_site(DEMOS / THREE)
    placed = dict((u.unit, m) for u, m in _placed(site))
    at = {
        (unit, f.joint.name, f.fitting.name): tuple(round(c, 9) for c in f.at_m)
        for unit, m in placed.items()
        for f in m.fittings
    }
    # Facing east (90 degrees), x forward is east and the right side (y = -1 m) is south: a
    # fitting at (2, -1, 1) of a unit at (15, 21.25) is at (15 + 2, 21.25 - 1, 1).
    assert at == {
        ("BF-1", "head pulley bearing", "right"): (17.0, 20.25, 1.0),
        ("BF-1", "tail pulley bearing", "right"): (13.0, 20.25, 1.0),
        ("BF-1", "take-up slide", "right"): (13.5, 20.25, 0.5),
        ("RB-1", "crank bearing", "front"): (31.0, 20.25, 1.0),
        ("RB-1", "crank bearing", "rear"): (29.0, 20.25, 1.0),
        ("BF-2", "head pulley bearing", "right"): (47.0, 20.25, 1.0),
        ("BF-2", "tail pulley bearing", "right"): (43.0, 20.25, 1.0),
        ("BF-2", "take-up slide", "right"): (43.5, 20.25, 0.5),
    }
    # Start and finish lie on y = 20, one clearance (0.25 m) south of every face, 50 m apart.
    start, finish = (p.point for p in site.ground.places)
    assert (start.y, finish.y, finish.x - start.x) == (20.0, 20.0, 50.0)
    assert site.rules.clearance_m == 0.25


def test_three_machines_due_by_hand():
    # BF-1: the 50 h class at 1000 h, now 1060: due; slide at 1052, 8 of 10 h: not due.
    # RB-1: never recorded: due. BF-2: head at 1975, now 2030: 55 of 50 h, due; tail at 2000:
    # 30 of 50, not due; slide at 2020: 10 of 10 h, just due.
    site = read_site(DEMOS / THREE)
    due = [(i.unit, i.joint) for i in work_list(site, site.planned_for) if i.due]
    assert due == [
        ("BF-1", "head pulley bearing"),
        ("BF-1", "tail pulley bearing"),
        ("RB-1", "crank bearing"),
        ("BF-2", "head pulley bearing"),
        ("BF-2", "take-up slide"),
    ]


def test_the_rental_yard_has_small_machines_and_a_trailer_and_no_survey_grid():
    site = read_site(DEMOS / RENTAL)
    assert site.coordinates == "local metres"
    assert site.origin_lonlat is None
    families = Counter(site.machine(unit).family for unit in site.units)
    assert families.keys() >= {"excavator", "loader", "dumper", "roller", "work platform",
                               "truck", "trailer", "agricultural tractor"}  # fmt: skip
    assert max(site.machine(unit).operating_mass_kg or 0 for unit in site.units) < 20_000
    assert any(unit.attachments for unit in site.units)
