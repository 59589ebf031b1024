"""From a ground plan to free ground: roads, crossings, gates, hours, machines."""

from datetime import datetime, time
from functools import cache
from types import SimpleNamespace

import numpy as np
import pytest
from shapely.geometry import LineString, Polygon, box
from shapely.geometry.base import BaseGeometry

from greaseroute.catalogue.kinematics.placed import Pose, place
from greaseroute.catalogue.shelf import shelf_names, shelf_type
from greaseroute.site.ground_plan import Area, Barrier, Gate, GroundPlan, Hours
from greaseroute.walk.footprint import closed_ground
from greaseroute.walk.ground import FreeGround
from greaseroute.walk.hours import is_shut, overlaps
from greaseroute.walk.no_path import NoPath
from greaseroute.walk.obstacles import Closed, close
from greaseroute.walk.site_ground import site_ground

YARD = box(0, 0, 100, 100)
NOON = datetime(2026, 3, 2, 12, 15)
MORNING = datetime(2026, 3, 2, 5, 30)
ROAD = Area("haul road", "haul_road", box(0, 48, 100, 52))
BLASTING = (Hours(time(12, 0), time(12, 30)),)


def crossing(x_m=40.0, **fields):
    return Area("west crossing", "crossing", box(x_m, 45, x_m + 3, 55), **fields)


def ground_of(*, clearance_m=0.0, at=MORNING, placed=None, **fields):
    plan = GroundPlan(YARD, **fields)
    return site_ground(plan, placed or {}, clearance_m=clearance_m, at=at)


def test_a_haul_road_is_passed_at_its_crossing_only_and_for_its_wait():
    ground = ground_of(haul_roads=(ROAD,), crossings=(crossing(wait_s=30.0),))
    walks = ground.travel([(80, 40), (80, 60)], speed_m_s=1.0)
    # to the crossing's near corner (43, 48), 4 m over the road, and back
    length_m = 2 * np.hypot(37, 8) + 4
    assert walks.length_m[0, 1] == pytest.approx(length_m, rel=1e-12)
    assert walks.time_s[0, 1] == pytest.approx(length_m + 30, rel=1e-12)


def test_without_a_crossing_the_road_is_named():
    ground = ground_of(haul_roads=(ROAD,))
    found = ground.path((80, 40), (80, 60))
    assert (found.where, found.helps) == ("haul road", "open haul road")


def test_clearance_narrows_a_crossing_but_not_away():
    fields = {"haul_roads": (ROAD,), "crossings": (crossing(wait_s=5.0),)}
    ground = ground_of(clearance_m=0.5, **fields)
    assert ground.travel([(41.5, 40), (41.5, 60)], speed_m_s=1.0).time_s[0, 1] == pytest.approx(25)
    assert ground.is_free([(41.5, 50), (40.4, 50), (42.6, 50)]).tolist() == [True, False, False]


def test_a_slanting_crossing_is_waited_at_once_wherever_it_is_passed():
    slant = Area(
        "slant", "crossing", Polygon([(30, 45), (34, 45), (44, 55), (40, 55)]), wait_s=20.0
    )
    ground = ground_of(haul_roads=(ROAD,), crossings=(slant,))
    below = [(30.5, 44), (33.5, 44), (20, 30)]
    above = [(40.5, 56), (43.5, 56), (90, 90)]
    walks = ground.travel(np.array(below + above), speed_m_s=1.0)
    waited = walks.time_s - walks.length_m
    assert np.allclose(waited[:3, 3:], 20.0)
    assert np.allclose(waited[:3, :3], 0.0)
    assert np.allclose(waited[3:, 3:], 0.0)


def test_two_roads_side_by_side_cost_two_waits():
    roads = (ROAD, Area("return road", "haul_road", box(0, 60, 100, 64)))
    both = Area("long crossing", "crossing", box(40, 45, 43, 67), wait_s=10.0)
    ground = ground_of(haul_roads=roads, crossings=(both,))
    walks = ground.travel([(41, 40), (41, 56), (41, 70)], speed_m_s=1.0)
    assert (walks.time_s - walks.length_m)[0].tolist() == pytest.approx([0, 10, 20])


def test_a_crossing_is_shut_in_its_hours():
    fields = {"haul_roads": (ROAD,), "crossings": (crossing(hours=BLASTING),)}
    pair = ((41, 40), (41, 60))
    assert isinstance(ground_of(at=NOON, **fields).path(*pair), NoPath)
    assert isinstance(ground_of(at=MORNING, **fields).path(*pair), LineString)
    # with no moment given, everything that has hours is shut
    assert isinstance(ground_of(at=None, **fields).path(*pair), NoPath)


def test_a_zone_is_closed_in_its_hours_and_one_without_hours_always():
    zone = Area("blasting zone", "no_go", box(40, 40, 60, 60), hours=BLASTING)
    always = Area("pond", "no_go", box(0, 80, 10, 90))
    points = [(50, 50), (5, 85)]
    for at, free in ((NOON, [False, False]), (MORNING, [True, False])):
        assert ground_of(at=at, no_go=(zone, always)).is_free(points).tolist() == free
    assert ground_of(at=NOON, no_go=(zone,)).path((50, 50), (1, 1)).where == "blasting zone"


@pytest.mark.parametrize(
    ("begin", "end", "shut"),
    [
        ("11:59", "11:59", False), ("12:00", "12:00", True), ("12:29", "12:29", True),
        ("12:30", "12:30", False), ("11:00", "12:00", False), ("11:00", "12:01", True),
        ("12:10", "12:20", True), ("12:30", "13:00", False),
    ],
)  # fmt: skip
def test_hours_hold_their_start_and_not_their_end(begin, end, shut):
    span = tuple(datetime.fromisoformat(f"2026-03-02T{t}") for t in (begin, end))
    assert overlaps(BLASTING[0], span) is shut


def test_hours_over_midnight():
    night = Area("yard", "no_go", YARD, hours=(Hours(time(22, 0), time(5, 0)),))
    moments = [datetime(2026, 3, 2, h) for h in (4, 5, 12, 23)]
    assert [is_shut(night, (m, m)) for m in moments] == [True, False, False, True]


def fence():
    return Barrier("fence", LineString([(50, 0), (50, 100)]))


def test_a_barrier_is_passed_at_its_gate():
    gate = Gate("gate 1", LineString([(50, 79), (50, 81)]))
    ground = ground_of(barriers=(fence(),), gates=(gate,))
    # (40, 50) to the gate's near end (50, 79) and on to (60, 50); the fence is 2 mm thick
    length_m = 2 * np.hypot(10, 29)
    assert ground.path((40, 50), (60, 50)).length == pytest.approx(length_m, abs=0.005)
    assert ground_of(barriers=(fence(),)).path((40, 50), (60, 50)).where == "fence"


def test_a_gate_narrower_than_twice_the_clearance_is_no_way():
    gate = Gate("gate 1", LineString([(50, 79), (50, 80)]))
    fields = {"barriers": (fence(),), "gates": (gate,)}
    pair = ((40, 50), (60, 50))
    assert isinstance(ground_of(clearance_m=0.45, **fields).path(*pair), LineString)
    assert isinstance(ground_of(clearance_m=0.55, **fields).path(*pair), NoPath)


def test_slow_ground_and_spot_heights_reach_the_ground():
    mud = Area("mud", "slow_ground", box(0, 40, 100, 60), time_factor=2.0)
    heights = ((0.0, 0.0, 0.0), (100.0, 0.0, 0.0), (0.0, 100.0, 10.0), (100.0, 100.0, 10.0))
    flat = ground_of(slow_ground=(mud,)).travel([(50, 20), (50, 80)], speed_m_s=1.0)
    assert flat.time_s[0, 1] == pytest.approx(20 + 2 * 20 + 20)
    hill = ground_of(slow_ground=(mud,), spot_heights=heights)
    # 1 in 10 up, exp(3.5 x 0.1) slower; 1 in 10 down as fast as level (Tobler)
    times = hill.travel([(50, 20), (50, 80)], speed_m_s=1.0).time_s
    assert times[0, 1] == pytest.approx(80 * np.exp(0.35), rel=1e-9)
    assert times[1, 0] == pytest.approx(80.0, rel=1e-9)


def solid(bottom_m, top_m, *, on_oil=False, at=0.0):
    footprint = box(at, 0, at + 2, 2)
    return SimpleNamespace(footprint=footprint, bottom_m=bottom_m, top_m=top_m, on_oil=on_oil)


def test_ground_is_closed_under_low_and_under_hanging_solids_only():
    tracks, high, hanging = solid(0, 1), solid(2.5, 4, at=10), solid(2.6, 4, on_oil=True, at=20)
    low = solid(2.49, 4, at=30)
    closed = closed_ground(SimpleNamespace(solids=(tracks, high, hanging, low)))
    assert [p.bounds[0] for p in closed] == [0, 20, 30]
    assert sum(p.area for p in closed) == 12


def test_pockets_between_solids_are_closed():
    ring = SimpleNamespace(
        footprint=box(0, 0, 9, 9).difference(box(3, 3, 6, 6)), bottom_m=0, top_m=1, on_oil=False
    )
    assert [p.area for p in closed_ground(SimpleNamespace(solids=(ring,)))] == [81]


def test_a_machine_is_walked_round_and_named():
    machine = place(shelf_type(shelf_names()[0]), Pose(50, 50, 30))
    ground = ground_of(placed={"EX-01": machine}, clearance_m=0.3)
    middle = closed_ground(machine)[0].representative_point()
    assert ground.path((middle.x, middle.y), (5, 5)).where == "EX-01"
    # straight through it, if it were not there: round it is longer, and keeps the clearance
    far = [(50 - 30, 50), (50 + 30, 50)]
    leg = ground.travel(far).leg(0, 1)
    assert leg.length > 60.0
    assert min(leg.distance(p) for p in closed_ground(machine)) >= 0.3


def test_two_postures_of_one_unit_are_both_kept_clear():
    kind = shelf_type(shelf_names()[0])
    pair = [place(kind, Pose(50, 50, 30), posture=p) for p in ("parked", "greasing")]
    ground = ground_of(placed={"EX-01": pair})
    for machine in pair:
        for part in closed_ground(machine):
            spot = part.representative_point()
            assert ground.is_free([(spot.x, spot.y)]).tolist() == [False]


def test_grounds_that_share_obstacles_widen_each_once() -> None:
    asked: list[str] = []

    @cache
    def closing(name: str, shape: BaseGeometry, clearance_m: float) -> Closed:
        asked.append(name)
        return close(name, shape, clearance_m)

    obstacles = [box(10, 10, 20, 20), box(30, 10, 40, 20)]
    grounds = [
        FreeGround(box(0, 0, 50, 50), obstacles[:n], 0.5, names=["a", "b"][:n], closing=closing)
        for n in (1, 2, 2)
    ]
    assert asked == ["a", "b"]
    plain = FreeGround(box(0, 0, 50, 50), obstacles, 0.5, names=["a", "b"])
    assert grounds[2].free.wkb == plain.free.wkb
