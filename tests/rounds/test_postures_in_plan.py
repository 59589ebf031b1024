"""Posture moves and slew rings in a plan: as few moves as can be, clear ground to stand on."""

from dataclasses import replace

import pytest
from shapely.geometry import Point, box

from greaseroute.rounds.planner import plan_round
from greaseroute.rounds.request import Effort, RoundRequest
from greaseroute.site.crew import WorkingRules
from greaseroute.site.ground_plan import Place
from greaseroute.site.people import Person
from greaseroute.site.reach import Reach
from greaseroute.walk.yard import stances_now
from tests.rounds.test_planner import pumped, seconds
from tests.rounds.yards import AT, GUNS, technician, unit, yard

KIND = "crawler-excavator-22t"
MOVES = WorkingRules(posture_moves=True, posture_move_min=3.0)


def excavator(rules=MOVES, **changes):
    return yard([unit(0, KIND, 60, 60)], rules=rules, **changes)


@pytest.fixture(scope="module")
def plan():
    return plan_round(excavator(), RoundRequest(AT))


def stands(plan):
    return [v for s in plan.technicians[0].stops for v in s.stands]


def test_one_move_is_asked_for_and_everything_is_greased(plan):
    asked = [v for v in stands(plan) if v.event == "posture"]
    assert len(asked) == 1
    assert asked[0].posture == "greasing"
    assert plan.left == ()


def test_a_longer_move_costs_the_difference_once(plan):
    slow = plan_round(
        excavator(MOVES.model_copy(update={"posture_move_min": 4.0})), RoundRequest(AT)
    )
    assert seconds(slow) - seconds(plan) == pytest.approx(60.0)


def test_without_moves_the_front_end_is_left_with_the_posture_that_would_help(plan):
    still = plan_round(
        excavator(MOVES.model_copy(update={"posture_moves": False})), RoundRequest(AT)
    )
    assert {v.posture for v in stands(still)} == {"parked"}
    lost = {(u, j, f) for u, j, f in pumped(plan)} - set(pumped(still))
    assert lost
    assert len(still.left) >= 1
    assert {x.helps for x in still.left} == {"in reach in the service position"}


def test_stands_before_the_move_are_in_the_first_posture_and_after_it_in_the_second(plan):
    order = [v.posture for v in stands(plan)]
    assert order == sorted(order, key=("parked", "greasing").index)


def test_one_stands_clear_of_the_swept_circle_while_it_turns_or_moves(plan):
    (placed,) = stances_now(excavator())["U-0"]
    moving = [v for v in stands(plan) if v.event]
    assert len(moving) == 2  # the slew ring turned, the posture taken
    for visit in moving:
        assert placed.slew_clear.distance(Point(visit.x_m, visit.y_m)) >= 1.0 - 1e-6
        assert visit.fittings == ()


def test_the_ring_is_turned_after_its_fittings_and_pumped_once_more_after_that(plan):
    visits = stands(plan)
    pumped_at = [k for k, v in enumerate(visits) if any(f.joint == "slew ring" for f in v.fittings)]
    turned = [k for k, v in enumerate(visits) if v.event == "turn"]
    again = [k for k, v in enumerate(visits) if any("second pass" in step for step in v.before)]
    assert max(pumped_at) < turned[0] < min(again)
    assert sum(step.count("degrees") for k in again for step in visits[k].before) == 4


def test_no_room_to_stand_clear_leaves_the_ring_and_the_moves_with_the_reason():
    # The swept circle has a radius of 6.75 m. Walls 3.5 m to either side, 5 m behind and 7 m ahead
    # leave no place 1 m outside it: the far corners are sqrt(6.75^2 + 3.25^2) = 7.49 m away.
    walls = (
        box(40, 63.5, 80, 65),
        box(40, 55, 80, 56.5),
        box(53, 54, 55, 66),
        box(67, 54, 68, 66),
    )
    site = yard(
        [unit(0, KIND, 60, 60, heading_deg=90.0)],
        rules=MOVES,
        areas=walls,
        technicians=(technician(start="inside", finish="inside"),),
    )
    inside = Place("inside", "start", Point(60, 57))
    site = replace(site, ground=replace(site.ground, places=(*site.ground.places, inside)))
    plan = plan_round(site, RoundRequest(AT))
    ring = [x for x in plan.left if x.joint == "slew ring"]
    # radius 6.74 m; the start is 3.0 m from the middle
    assert [x.reason for x in ring] == [
        "no room to slew: the swing radius overlaps inside by 3.74 m"
    ]
    assert {v.posture for v in stands(plan)} == {"parked"}
    assert any("no room to bring it into the service position" in x.reason for x in plan.left)


@pytest.mark.parametrize(("until", "most"), [("04:10", 26), ("04:16", 30)])
def test_where_nobody_has_time_to_move_a_machine_all_else_is_greased_as_it_stands(until, most):
    """Two truck mixers, somebody to move them for minutes alone. What is in reach with the wheels
    straight, 13 fittings each, is done whether anybody comes or not; in 16 minutes one of them is
    steered to one side: four more.
    """
    mixers = [unit(k, "truck-mixer-32t", 50 + 40 * k, 60) for k in range(2)]
    mate = (Person(name="mate", on_site_from="04:00", on_site_to=until),)
    still = yard(mixers, rules=MOVES.model_copy(update={"posture_moves": False}), people=mate)
    moved = replace(still, rules=MOVES)
    quick = Effort(1, iterations=200, prove=False)
    plans = [plan_round(site, RoundRequest(AT), effort=quick) for site in (still, moved)]
    straight, steered = (set(pumped(plan)) for plan in plans)
    assert len(straight) == 26
    assert straight <= steered
    assert len(steered) == most
    kingpins = [x.reason for x in plans[1].left if "kingpin" in x.joint]
    assert set(kingpins) == {"no time for it while a second person is at hand"}


def test_ground_is_not_kept_off_for_a_posture_that_nobody_takes():
    """A truck mixer, a short arm, 0.3 m kept off. Steered to both sides its wheels close the ground
    from which its second front axle is greased; in four minutes nobody steers it, so it is greased
    as where it never moves.
    """
    mate = (Person(name="mate", on_site_from="04:00", on_site_to="04:04"),)
    guns = tuple(g.model_copy(update={"hose_m": 0.25}) for g in GUNS)
    rules = MOVES.model_copy(update={"clearance_m": 0.3})
    mixer = unit(0, "truck-mixer-32t", 60, 60, posture="greasing")
    ada = technician(reach=Reach(arm_m=0.6))
    site = yard([mixer], rules=rules, people=mate, guns=guns, technicians=(ada,))
    still = replace(site, rules=rules.model_copy(update={"posture_moves": False}))
    quick = Effort(1, iterations=200, prove=False)
    plans = [plan_round(each, RoundRequest(AT), effort=quick) for each in (still, site)]
    straight, moved = ({f for f in pumped(plan) if "second front" in f[1]} for plan in plans)
    assert len(straight) == 8
    assert moved == straight
    assert not [v for v in stands(plans[1]) if v.event]
