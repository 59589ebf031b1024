import math
from dataclasses import replace
from datetime import datetime, timedelta

import numpy as np
import pytest

from greaseroute.errors import UnknownName
from greaseroute.replan.rest import plan_rest
from greaseroute.replan.so_far import BlockedFitting, DoneSoFar, MovedUnit, orders_of, site_now
from greaseroute.rounds.planner import plan_round
from greaseroute.rounds.request import RoundRequest
from greaseroute.site.crew import WorkingRules
from tests.rounds.test_planner import pumped
from tests.rounds.yards import AT, KINDS, random_yard, technician, unit, yard

NOW = AT + timedelta(minutes=15)


@pytest.fixture(scope="module")
def site():
    return random_yard(np.random.default_rng(8), 5)


@pytest.fixture(scope="module")
def plan(site):
    return plan_round(site, RoundRequest(AT))


@pytest.fixture(scope="module")
def first(plan):
    """What is booked when the first stop is done, and the place of its last stand."""
    stop = plan.technicians[0].stops[0]
    done = {(stop.unit, f.joint) for v in stop.stands for f in v.fittings}
    # Joints over a pit are left out of the plan; whoever is done with the unit is done with them.
    done |= {(left.unit, left.joint) for left in plan.left if left.unit == stop.unit}
    last = stop.stands[-1]
    return {"at": NOW, "done": tuple(sorted(done)), "places": {"Ada": (last.x_m, last.y_m)}}


def again(site, plan, **told):
    return plan_rest(site, RoundRequest(AT), DoneSoFar(**told), earlier=plan)


def test_the_rest_is_what_was_not_booked_from_where_one_stands_now(site, plan, first):
    rest = again(site, plan, **first)
    unit = plan.technicians[0].stops[0].unit
    assert sorted(pumped(rest)) == sorted(p for p in pumped(plan) if p[0] != unit)
    walk = rest.technicians[0]
    assert datetime.fromisoformat(walk.start) == NOW
    assert walk.start_place == "where Ada stands"
    assert walk.path[0] == pytest.approx(first["places"]["Ada"], abs=1e-6)
    assert walk.finish_place == "store"


def test_with_nothing_else_changed_the_order_is_kept(site, plan, first):
    assert orders_of(again(site, plan, **first))["Ada"] == orders_of(plan)["Ada"][1:]


def test_a_blocked_fitting_is_listed_and_its_neighbours_are_still_done(site, plan, first):
    stop = plan.technicians[0].stops[1]
    joint = next(
        j for j in site.types[stop.type].joints if len(j.fittings) > 1 and not j.never_pump
    )
    name = joint.fittings[0].name
    blocked = BlockedFitting(unit=stop.unit, joint=joint.name, fitting=name)
    rest = again(site, plan, **first, blocked=(blocked,))
    (told,) = [x for x in rest.left if x.reason == "found blocked"]
    assert (told.unit, told.joint, told.fitting) == (stop.unit, joint.name, name)
    lost = {(stop.unit, joint.name, name)}
    assert set(pumped(again(site, plan, **first))) - set(pumped(rest)) == lost


def test_a_unit_that_left_frees_its_ground_and_is_listed(site, plan, first):
    gone = plan.technicians[0].stops[2].unit
    rest = again(site, plan, **first, gone=(gone,))
    assert gone not in {u for u, _, _ in pumped(rest)}
    assert {x.reason for x in rest.left if x.unit == gone} == {"the unit has left"}


def test_a_unit_that_moved_is_greased_where_it_stands_now(site, plan, first):
    unit = next(u for u in site.units if u.unit == plan.technicians[0].stops[2].unit)
    moved = MovedUnit(unit=unit.unit, x_m=unit.x_m + 3.0, y_m=unit.y_m)
    rest = again(site, plan, **first, moved=(moved,))

    def places(of):
        stops = [s for s in of.technicians[0].stops if s.unit == unit.unit]
        return {(f.joint, f.fitting): f.at_m for s in stops for v in s.stands for f in v.fittings}

    before, after = places(plan), places(rest)
    assert before.keys() == after.keys()
    for key, (x, y, z) in before.items():
        assert after[key] == pytest.approx((x + 3.0, y, z))


def test_the_end_stays_the_shift_start_of_the_morning_planned_for(site, plan, first):
    assert again(site, plan, **first).shift_start == plan.shift_start


def test_what_the_guns_hold_now_decides_the_first_change(site, plan, first):
    full = again(site, plan, **first, left_strokes={"lever": 400, "second": 400})
    empty = again(site, plan, **first, left_strokes={"lever": 0, "second": 0})
    used = [sum(c.used for c in p.cartridges.values()) for p in (full, empty)]
    assert used[0] < used[1]


def test_a_wrong_name_is_refused(site, plan):
    with pytest.raises(UnknownName, match="done so far: unit: 'U-77'"):
        again(site, plan, at=NOW, gone=("U-77",))


def test_two_technicians_go_on_from_where_each_stands(site):
    pair = replace(site, technicians=(technician(), technician("Bo")))
    plan = plan_round(pair, RoundRequest(AT))
    rest = again(pair, plan, at=NOW, places={"Bo": (80.0, 60.0)})
    assert [t.start_place for t in rest.technicians] == ["store", "where Bo stands"]
    assert sorted(pumped(rest)) == sorted(pumped(plan))


def test_units_named_as_done_are_as_good_as_all_their_joints(site, plan, first):
    unit = plan.technicians[0].stops[0].unit
    by_unit = again(site, plan, **{**first, "done": (), "done_units": (unit,)})
    assert by_unit == again(site, plan, **first)


def test_a_unit_stays_in_the_posture_it_was_greased_in():
    # An excavator asked for its greasing posture is done: its bucket now lies elsewhere.
    pit = yard([unit(1, "crawler-excavator-22t", 40, 60), unit(2, KINDS[0], 100, 60)],
               rules=WorkingRules(posture_moves=True))  # fmt: skip
    plan = plan_round(pit, RoundRequest(AT))
    stop = next(s for s in plan.technicians[0].stops if s.unit == "U-1")
    assert stop.stands[-1].posture == "greasing"
    so_far = DoneSoFar(at=NOW, done_units=("U-1",))
    now = site_now(pit, so_far, earlier=plan)
    assert [u.posture for u in now.units] == ["greasing", "parked"]
    back = so_far.model_copy(update={"moved": (MovedUnit(unit="U-1", x_m=40, y_m=60),)})
    assert [u.posture for u in site_now(pit, back, earlier=plan).units] == ["parked", "parked"]


def test_the_plan_says_that_it_is_of_a_rest(site, plan, first):
    gone = plan.technicians[0].stops[2].unit
    rest = again(site, plan, **first, gone=(gone,))
    booked = len(first["done"])
    assert (plan.rest_of_round_from, rest.rest_of_round_from) == ("", plan.at)
    assert rest.notes[:2] == (
        "This is the rest of the round that began at 04:00, planned at 04:15: "
        f"joints booked as done {booked}, units that left 1.",
        "The order of the earlier plan is kept.",
    )


def test_units_out_of_their_order_are_counted(site, plan, first):
    # Told the other way round, the order is free and each of the others follows another one.
    turned = plan.model_copy(
        update={
            "technicians": tuple(
                t.model_copy(update={"stops": t.stops[::-1]}) for t in plan.technicians
            )
        }
    )
    rest = again(site, turned, **first, keep="free")
    assert rest.notes[1] == (
        "Units that follow another than in the earlier plan, or go to somebody else: 4 of 4."
    )


def test_who_stands_on_a_machine_comes_down_beside_it():
    # The fenders of a dozer: just off their edge lies a pocket between track and blade.
    site = yard([unit(1, "crawler-dozer-20t", 60, 60), unit(2, KINDS[0], 110, 60)])
    plan = plan_round(site, RoundRequest(AT))
    stop = next(s for s in plan.technicians[0].stops if s.unit == "U-1")
    (deck, *_) = [stand for stand in stop.stands if stand.deck]
    rest = again(site, plan, at=NOW, done_units=("U-1",), places={"Ada": (deck.x_m, deck.y_m)})
    assert orders_of(rest)["Ada"] == ("U-2",)
    assert rest.left == tuple(left for left in plan.left if left.unit == "U-2")
    assert 0.5 < math.dist(rest.technicians[0].path[0], (deck.x_m, deck.y_m)) < 4.0
