"""What is left out is told once for each fitting, for the reason that holds."""

from dataclasses import replace
from datetime import time, timedelta

import pytest
from shapely.geometry import box

from greaseroute.audit.audit import audit_round
from greaseroute.audit.basis import Asked
from greaseroute.plan.round import LeftOut
from greaseroute.rounds.left_out import once
from greaseroute.rounds.planner import plan_round
from greaseroute.rounds.request import Effort, RoundRequest
from greaseroute.rounds.why_left import OPEN_WAY, SHIFT, SHUT_BACK, SHUT_THERE
from greaseroute.site.crew import WorkingRules
from greaseroute.site.ground_plan import Area, Hours
from greaseroute.site.reach import Reach
from tests.rounds.yards import AT, GUNS, technician, unit, yard

STILL = WorkingRules(posture_moves=False)


def left(joint, fitting, reason):
    return LeftOut(unit="U-1", joint=joint, fitting=fitting, reason=reason, critical=1)


def test_a_whole_joint_becomes_its_other_fittings_where_some_are_told():
    due = {("U-1", "pin"): ("left", "right", "top"), ("U-1", "ring"): ("front",)}
    records = [
        left("pin", "left", "hidden"),
        left("pin", None, "no time"),
        left("pin", "top", "arm too short"),
        left("ring", None, "no time"),
        left("ring", None, "no gun"),
    ]
    told = [(r.joint, r.fitting, r.reason) for r in once(records, due)]
    assert told == [
        ("pin", "left", "hidden"),
        ("pin", "right", "no time"),
        ("pin", "top", "no time"),
        ("ring", None, "no time"),
    ]


def told_of(site, unit_name):
    plan = plan_round(site, RoundRequest(AT))
    return {(x.joint, x.fitting): x.reason for x in plan.left if x.unit == unit_name}


def test_who_has_the_skill_and_nobody_to_call_is_told_and_not_the_skill_of_another():
    """Two technicians, one without the skill; nobody at the controls for the slew ring."""
    crew = (
        technician("Bo", skills=()),
        technician("Ada", guns=("lever A", "second A"), skills=("crane",)),
    )
    guns = (*GUNS, *(g.model_copy(update={"name": f"{g.name} A"}) for g in GUNS))
    machine = unit(1, "crawler-excavator-22t", 60, 60, skill="crane")
    site = replace(yard([machine], technicians=crew, rules=STILL, guns=guns), people=())
    reasons = told_of(site, "U-1")
    assert reasons["slew ring", None].startswith("nobody is at hand")


def test_a_unit_that_nobody_visits_is_told_by_who_reaches_more():
    """The first technician's arm is too short for much; the second one's window is too short."""
    bare = tuple(g.model_copy(update={"hose_m": 0.0}) for g in GUNS)
    guns = (*bare, *(g.model_copy(update={"name": f"{g.name} B", "hose_m": 0.75}) for g in GUNS))
    short = technician("Ada", reach=Reach(arm_m=0.3))
    crew = (short, technician("Bo", guns=("lever B", "second B")))
    window = {"parked_to": AT.replace(hour=4, minute=1)}
    machine = unit(1, "crawler-dozer-20t", 60, 60, **window)
    site = yard([machine], technicians=crew, rules=STILL, guns=guns)
    alone = yard([machine], technicians=(short,), rules=STILL, guns=bare)
    far = {key for key, why in told_of(alone, "U-1").items() if why.startswith("arm")}
    assert far
    reasons = told_of(site, "U-1")
    assert not {key for key in far if reasons.get(key, "").startswith("arm")}


DUMPER = "articulated-dumper-30t"
WORK = (("U-1", "lower centre pin"),)


def behind_a_zone(*hours, starts_at=None, **window):
    """A dumper east of a zone that reaches right across the yard; the store lies west of it."""
    zone = Area("strip", "no_go", box(70, -1, 74, 121), hours=tuple(Hours(*h) for h in hours))
    crew = (technician(starts_at=starts_at),)
    site = yard([unit(1, DUMPER, 120, 60, **window)], technicians=crew, rules=STILL)
    return replace(site, ground=replace(site.ground, no_go=(zone,)))


SHUT_AT_20 = (time(4, 20), time(12, 0))
THERE = {"starts_at": "04:30"}  # sets off when the way is shut already
BACK = {"parked_from": AT + timedelta(minutes=30)}  # it comes when the way back is shut already
LONG = {"parked_from": AT + timedelta(minutes=416)}  # the shift starts before anyone is back


def left_at(site):
    plan = plan_round(site, RoundRequest(AT, WORK), effort=Effort(1, prove=False))
    return plan, {(x.reason, x.helps) for x in plan.left}


def audited(site, plan):
    return [f.what for f in audit_round(site, plan, asked=Asked(work=frozenset(WORK))).findings]


@pytest.mark.parametrize(("case", "reason"), [(THERE, SHUT_THERE), (BACK, SHUT_BACK)])
def test_a_way_that_is_shut_by_the_clock_is_told_as_shut_and_not_as_none(case, reason):
    """The same unit is visited in full where the zone opens again before the shift."""
    site = behind_a_zone(SHUT_AT_20, **case)
    plan, told = left_at(site)
    assert told == {(reason, OPEN_WAY)}
    assert audited(site, plan) == []
    again = behind_a_zone((time(4, 20), time(6, 0)), **case)
    assert left_at(again)[0].left == ()


@pytest.mark.parametrize(("case", "reason"), [(THERE, SHUT_THERE), (BACK, SHUT_BACK)])
def test_a_way_that_is_told_as_shut_and_opens_again_is_found(case, reason):
    plan, _ = left_at(behind_a_zone(SHUT_AT_20, **case))
    again = behind_a_zone((time(4, 20), time(6, 0)), **case)
    found = [what for what in audited(again, plan) if reason in what]
    assert len(found) == len(plan.left)
    assert all("Ada could be at" in what for what in found)


def test_who_could_not_be_back_in_time_is_told_so_and_not_that_the_way_is_shut():
    assert {reason for reason, _ in left_at(behind_a_zone(SHUT_AT_20[::-1], **LONG))[1]} == {SHIFT}
