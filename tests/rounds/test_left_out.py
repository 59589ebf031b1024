"""What is left out is told once for each fitting, for the reason that holds."""

from dataclasses import replace

from greaseroute.plan.round import LeftOut
from greaseroute.rounds.left_out import once
from greaseroute.rounds.planner import plan_round
from greaseroute.rounds.request import RoundRequest
from greaseroute.site.crew import WorkingRules
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
