import re
from datetime import datetime, timedelta
from itertools import pairwise

import numpy as np
import pytest
from shapely.geometry import LineString, box

from greaseroute.rounds.planner import plan_round
from greaseroute.rounds.request import Effort, RoundRequest
from greaseroute.site.crew import WorkingRules
from greaseroute.site.ground_plan import Barrier
from tests.rounds.yards import AT, random_yard, technician, unit, yard

RULES = WorkingRules(posture_moves=False)


def seconds(plan, number=0):
    walk = plan.technicians[number]
    gap = datetime.fromisoformat(walk.finish) - datetime.fromisoformat(walk.start)
    return gap.total_seconds()


def pumped(plan):
    return [
        (s.unit, f.joint, f.fitting)
        for t in plan.technicians
        for s in t.stops
        for v in s.stands
        for f in v.fittings
    ]


@pytest.fixture(scope="module")
def small():
    return random_yard(np.random.default_rng(3), 4)


@pytest.fixture(scope="module")
def plan(small):
    return plan_round(small, RoundRequest(AT))


def test_the_same_site_and_seed_give_the_same_bytes(small, plan):
    assert plan_round(small, RoundRequest(AT)).model_dump_json() == plan.model_dump_json()


def test_walking_work_and_waiting_add_up_to_the_whole(plan):
    walk = plan.technicians[0]
    assert walk.walk_s + walk.work_s + walk.wait_s == pytest.approx(seconds(plan), abs=1e-6)
    # 1.2 m/s, each leg rounded up to a whole millisecond
    assert walk.walk_m / 1.2 <= walk.walk_s <= walk.walk_m / 1.2 + 0.001 * len(walk.path)


def test_the_path_is_the_stops_in_order_without_a_gap(plan):
    walk = plan.technicians[0]
    assert walk.path[0] == walk.path[-1] == (2.0, 2.0)
    for before, after in pairwise(walk.stops):
        assert before.inside[-1] == after.path[0]
        assert datetime.fromisoformat(before.leave) < datetime.fromisoformat(after.arrive)
    for stop in walk.stops:
        assert stop.path[-1] == stop.inside[0]


def test_value_and_bound_leave_pumping_and_isolation_out(plan):
    walk = plan.technicians[0]
    settled = 5.0 * sum(bool(v.fittings) for s in walk.stops for v in s.stands)
    climbs = sum(v.before_s for s in walk.stops for v in s.stands if v.deck)
    assert plan.bound.value_s == pytest.approx(walk.walk_s + settled + climbs, abs=0.5)
    assert plan.bound.gap_pct == 0.0


def isolations(plan):
    """How often a unit is isolated in full: at first, and again after each move."""
    last = "try to start it: it must not"
    stops = [s for t in plan.technicians for s in t.stops]
    steps = [step for s in stops for v in s.stands for step in (*v.steps, *v.after)]
    return sum(s.isolation_s > 0 for s in stops) + sum(step.do == last for step in steps)


def test_a_longer_isolation_lengthens_the_round_by_it_as_often_as_one_isolates(small, plan):
    rules = small.rules.model_copy(update={"isolation_s": small.rules.isolation_s + 10.0})
    longer = plan_round(_with(small, rules=rules), RoundRequest(AT))
    assert seconds(longer) - seconds(plan) == pytest.approx(10.0 * isolations(plan))
    assert isolations(plan) > len(plan.technicians[0].stops)
    assert longer.bound.value_s == plan.bound.value_s


def test_a_longer_settling_is_paid_once_per_stand(small, plan):
    reach = small.technicians[0].reach.model_copy(update={"settle_s": 6.0})
    longer = plan_round(_with(small, technicians=(technician(reach=reach),)), RoundRequest(AT))
    stands = sum(bool(v.fittings) for s in plan.technicians[0].stops for v in s.stands)
    assert 0 < seconds(longer) - seconds(plan) <= stands * 1.0 + 1e-6


@pytest.mark.parametrize("part", ["wipe_s", "couple_s", "bleed_s"])
def test_each_part_of_handling_is_paid_at_every_fitting(small, plan, part):
    reach = small.technicians[0].reach
    slower = reach.model_copy(update={part: getattr(reach, part) + 1.5})
    longer = plan_round(_with(small, technicians=(technician(reach=slower),)), RoundRequest(AT))
    stands = [v for s in plan.technicians[0].stops for v in s.stands]
    times = sum(len(v.fittings) + len(v.again) for v in stands)
    assert times > 6
    assert seconds(longer) - seconds(plan) == pytest.approx(1.5 * times)


def test_windows_are_kept_and_waited_for(small):
    opens = AT + timedelta(minutes=90)
    units = tuple(
        u.model_copy(update={"parked_from": opens}) if u.unit == "U-1" else u for u in small.units
    )
    late = plan_round(_with(small, units=units), RoundRequest(AT))
    stop = next(s for s in late.technicians[0].stops if s.unit == "U-1")
    begin = datetime.fromisoformat(stop.arrive) + timedelta(seconds=stop.wait_s)
    assert begin >= opens
    assert late.technicians[0].wait_s > 0
    assert len(pumped(late)) == len(pumped(plan_round(small, RoundRequest(AT))))


def test_a_morning_too_short_leaves_out_and_says_why(small, plan):
    short = plan_round(small, RoundRequest(AT, finish_by=AT + timedelta(minutes=20)))
    assert seconds(short) <= 20 * 60
    assert 0 < len(pumped(short)) < len(pumped(plan))
    timed_out = [x for x in short.left if re.search("not enough time|no time", x.reason)]
    assert timed_out
    assert all(x.helps == "more time, or one more technician" for x in timed_out)
    assert any(n.startswith("With 10 more minutes ") for n in short.notes)
    assert any(n.startswith("With one more technician equipped as Ada") for n in short.notes)
    named = {(u, j) for u, j, _ in pumped(short)} | {(x.unit, x.joint) for x in short.left}
    assert named >= {(u, j) for u, j, _ in pumped(plan)}


def test_the_critical_joint_is_done_when_there_is_time_for_one_unit_only():
    site = yard([unit(0, "wheel-loader-20t", 30, 40), unit(1, "wheel-loader-20t", 30, 80)])
    joints = [j.name for j in site.types["wheel-loader-20t"].joints if not j.never_pump]
    heavy = next(j for j in joints if site.types["wheel-loader-20t"].joint(j).critical == 3)
    light = next(j for j in joints if site.types["wheel-loader-20t"].joint(j).critical < 3)
    for far, near in (("U-0", "U-1"), ("U-1", "U-0")):
        work = [(far, heavy), (near, light)]
        both = plan_round(site, RoundRequest(AT, work=work))
        short = plan_round(
            site, RoundRequest(AT, work=work, finish_by=AT + timedelta(seconds=seconds(both) - 60))
        )
        assert {u for u, _, _ in pumped(short)} == {far}


def test_a_fence_without_a_gate_cuts_a_unit_off_and_is_named():
    site = yard([unit(0, "wheel-loader-20t", 30, 30), unit(1, "wheel-loader-20t", 100, 30)])
    fence = Barrier("fence east", LineString([(65, 0), (65, 120)]))
    cut = plan_round(_ground(site, barriers=(fence,)), RoundRequest(AT))
    gone = [x for x in cut.left if x.unit == "U-1" and x.helps != "a pit"]
    assert {u for u, _, _ in pumped(cut)} == {"U-0"}
    assert gone
    assert all("cut off" in x.reason and "fence east" in x.reason for x in gone)


def test_two_technicians_finish_earlier_than_one(small, plan):
    pair = (technician(), technician("Bo"))
    both = plan_round(_with(small, technicians=pair), RoundRequest(AT))
    assert sorted(pumped(both)) == sorted(pumped(plan))
    assert max(seconds(both, 0), seconds(both, 1)) < 0.75 * seconds(plan)


def test_a_unit_that_asks_for_a_skill_is_done_by_who_has_it(small):
    asks = tuple(
        u.model_copy(update={"skill": "quay pass"}) if u.unit == "U-1" else u for u in small.units
    )
    pair = (technician(), technician("Bo", skills=("quay pass",)))
    plan = plan_round(_with(small, technicians=pair, units=asks), RoundRequest(AT))
    who = {s.unit: t.name for t in plan.technicians for s in t.stops}
    assert who["U-1"] == "Bo"
    assert not [x for x in plan.left if x.unit == "U-1" and x.helps != "a pit"]
    one = plan_round(_with(small, units=asks), RoundRequest(AT))
    alone = [x for x in one.left if x.unit == "U-1" and x.helps != "a pit"]
    assert {x.reason for x in alone} == {"asks for the skill 'quay pass'"}
    assert {x.helps for x in alone} == {"somebody with the skill 'quay pass'"}


EXCAVATOR = "crawler-excavator-22t"


def _digger_site(**hours):
    rules = WorkingRules(posture_moves=False, **hours)
    units = [unit(0, EXCAVATOR, 40, 40), unit(1, "wheel-loader-20t", 110, 40)]
    return _with(yard(units, rules=rules), people=()) if hours else yard(units, rules=rules)


def _for_two(site):
    """(unit, joint) of every joint whose procedure takes two."""
    joints = ((u.unit, j) for u in site.units for j in site.types[u.type].joints)
    return {(u, j.name) for u, j in joints if j.procedure and j.procedure.second_person}


def test_a_procedure_for_two_waits_until_a_second_person_is_at_hand():
    alone = plan_round(_digger_site(), RoundRequest(AT))
    late = plan_round(
        _digger_site(second_person_from="06:00", second_person_to="10:00"), RoundRequest(AT)
    )
    stops = {s.unit: s for s in late.technicians[0].stops}
    digger = stops["U-0"]
    assert "slew ring" in {f.joint for stand in digger.stands for f in stand.fittings}
    called = min(datetime.fromisoformat(call.begin) for call in late.people)
    assert called == AT + timedelta(hours=2)
    assert {(call.person, call.unit) for call in late.people} >= {("second person", "U-0")}
    begin = datetime.fromisoformat(digger.arrive) + timedelta(seconds=digger.wait_s)
    assert begin < called  # the ring is pumped before somebody comes to slew it
    assert sorted(pumped(late)) == sorted(pumped(alone))


def test_without_a_second_person_the_rest_of_the_unit_is_still_greased():
    alone = plan_round(_digger_site(), RoundRequest(AT))
    none = plan_round(
        _digger_site(second_person_from="22:00", second_person_to="04:02"), RoundRequest(AT)
    )
    missed = set(pumped(alone)) - set(pumped(none))
    assert {(u, joint) for u, joint, _ in missed} <= _for_two(_digger_site())
    assert ("U-0", "slew ring") in {(u, joint) for u, joint, _ in missed}
    reason = next(x.reason for x in none.left if x.joint == "slew ring")
    assert reason == "nobody is at hand who may operate it"


def test_a_bag_too_small_sends_the_technician_back_to_the_store(small):
    guns = tuple(g.model_copy(update={"left_strokes": 0}) for g in small.guns)
    greases = tuple(
        g.model_copy(update={"cartridge_g": 80.0, "reserve_cartridges": 0}) for g in small.greases
    )
    site = _with(small, guns=guns, greases=greases, technicians=(technician(bag_cartridges=3),))
    plan = plan_round(site, RoundRequest(AT))
    walk = plan.technicians[0]
    stores = [s for s in walk.stops if s.reload]
    assert stores
    assert all(sum(s.load.values()) <= 3 and s.unit == "store" for s in stores)
    taken = sum(sum(s.load.values()) for s in stores)
    used = sum(c.used for c in walk.cartridges.values())
    assert used - 3 <= taken < used  # the rest was in the bag at the start


def test_looks_are_done_on_the_same_walk_only_if_asked_for(small, plan):
    looked = plan_round(small, RoundRequest(AT, with_looks=True))
    looks = [k for s in looked.technicians[0].stops for v in s.stands for k in v.looks]
    assert looks
    assert not [k for s in plan.technicians[0].stops for v in s.stands for k in v.looks]
    assert sorted(pumped(looked)) == sorted(pumped(plan))


def test_an_unlucky_start_leaves_everything_with_the_reason():
    site = yard([unit(0, "wheel-loader-20t", 30, 30)], areas=(box(0, 0, 4, 4),))
    plan = plan_round(site, RoundRequest(AT))
    assert pumped(plan) == []
    left = [x for x in plan.left if x.helps != "a pit"]
    assert left
    assert all("cut off: the start (2.00 2.00) is inside heap 0" in x.reason for x in left)


def test_a_search_broken_off_gives_the_best_plan_so_far_marked_as_such():
    site = random_yard(
        np.random.default_rng(5), 12, technicians=(technician(), technician("Bo")), width=200.0
    )

    def break_off(text):
        if text.startswith("step"):
            raise KeyboardInterrupt

    plan = plan_round(site, RoundRequest(AT), progress=break_off)
    assert not plan.complete
    whole = plan_round(site, RoundRequest(AT), effort=Effort(iterations=200))
    assert whole.complete
    assert sorted(pumped(plan)) == sorted(pumped(whole))


def test_progress_is_told_in_words(small):
    told = []
    plan_round(small, RoundRequest(AT), progress=told.append)
    assert told[:2] == ["placing machines, free ground", "stands and postures"]
    assert "order of 4 units" in told


def _with(site, **changes):
    from dataclasses import replace

    return replace(site, **changes)


def _ground(site, **changes):
    from dataclasses import replace

    return replace(site, ground=replace(site.ground, **changes))
