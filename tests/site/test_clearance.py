"""Clearances by what a thing is: each rule alone moves the free ground by what it says."""

from dataclasses import replace

import pytest
from shapely.geometry import LineString, Point, box

from greaseroute.audit.ground import more_than_clearance_m
from greaseroute.rounds.planner import plan_round
from greaseroute.rounds.request import RoundRequest
from greaseroute.site.clearance import kept_ground, more_m
from greaseroute.site.crew import WorkingRules
from greaseroute.site.ground_plan import Area, Barrier, Gate
from greaseroute.site.morning import morning_of
from greaseroute.walk.yard import stances_now, yard_of
from tests.rounds.yards import AT, unit, yard

RULES = WorkingRules(posture_moves=False)
SPOT = box(80, 60, 84, 64)
THINGS = (
    (Area("a", "obstacle", SPOT, kind="stockpile"), "toe"),
    (Area("a", "obstacle", SPOT, kind="quarry face"), "edge"),
    (Area("a", "obstacle", SPOT, kind="pond"), "water"),
    (Area("a", "obstacle", SPOT, kind="rail siding"), "rail"),
    (Area("a", "no_go", SPOT), "no_entry"),
    (Area("a", "haul_road", SPOT), "haul_road"),
)


def free(thing, rules):
    site = yard([unit(0, "grader-18t", 20, 20)], rules=rules)
    role = {"obstacle": "obstacles", "no_go": "no_go", "haul_road": "haul_roads"}[thing.role]
    site = replace(site, ground=replace(site.ground, **{role: (thing,)}))
    return yard_of(site, stances_now(site), morning_of(site, AT)).grounds[0][1].free


@pytest.mark.parametrize(("thing", "rule"), THINGS, ids=[rule for _, rule in THINGS])
def test_the_distance_of_its_own_is_kept_and_moves_with_its_rule_alone(thing, rule):
    for distance_m in (1.0, 3.5):
        rules = RULES.model_copy(update={f"{rule}_clearance_m": distance_m})
        ground = free(thing, rules)
        for off_m, inside in ((-0.002, False), (0.002, True)):
            spot = Point(84 + distance_m + off_m, 62)  # straight off a side of it
            assert ground.covers(spot) == inside
        assert more_than_clearance_m(thing, rules) == more_m(thing, rules)
    # smaller than what is kept from everything: that is kept
    small = RULES.model_copy(update={f"{rule}_clearance_m": 0.1})
    assert not free(thing, small).covers(Point(84.24, 62))
    assert free(thing, small).covers(Point(84.26, 62))


def test_gates_and_crossings_stay_as_wide_as_they_are():
    site = yard([unit(0, "grader-18t", 20, 20)], rules=RULES)
    fence = Barrier("crest", LineString([(0, 60), (160, 60)]), kind="bench edge")
    road = Area("road", "haul_road", box(100, 0, 110, 120))
    crossing = Area("cross", "crossing", box(98, 30, 112, 34))
    gate = Gate("gate", LineString([(50, 60), (53, 60)]))
    ground = replace(site.ground, barriers=(fence,), gates=(gate,), haul_roads=(road,),
                     crossings=(crossing,))  # fmt: skip
    rules = RULES.model_copy(update={"edge_clearance_m": 4.0, "haul_road_clearance_m": 3.0})
    site = replace(site, ground=ground, rules=rules)
    free_m = yard_of(site, stances_now(site), morning_of(site, AT)).grounds[0][1].free
    assert free_m.covers(LineString([(51.5, 50), (51.5, 70)]))  # through the gate
    assert free_m.covers(LineString([(90, 32), (120, 32)]))  # over the crossing
    assert not free_m.intersects(Point(40, 57))
    assert not free_m.intersects(Point(98, 50))


def test_a_plan_without_such_things_is_the_plan_itself():
    site = yard([unit(0, "grader-18t", 20, 20)], rules=RULES)
    assert kept_ground(site.ground, RULES) is site.ground


def test_a_round_walks_round_a_closed_zone_by_its_own_distance():
    site = yard([unit(0, "grader-18t", 60, 40)], rules=RULES)
    zone = Area("charging", "no_go", box(20, 5, 40, 30))
    site = replace(site, ground=replace(site.ground, no_go=(zone,)))
    plan = plan_round(site, RoundRequest(AT))
    near = min(LineString(s.path).distance(zone.polygon) for t in plan.technicians for s in t.stops)
    assert near == pytest.approx(RULES.no_entry_clearance_m, abs=0.2)
    assert near >= RULES.no_entry_clearance_m - 0.002
