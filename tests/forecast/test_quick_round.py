"""The week's rounds beside the round engine's: the same work done, as soon, without the proof."""

from dataclasses import replace
from pathlib import Path

from greaseroute.intervals.worklist import work_list
from greaseroute.rounds.planner import plan_round
from greaseroute.rounds.quick import quick_round
from greaseroute.rounds.request import Effort, RoundRequest
from greaseroute.site.folder import read_site
from greaseroute.site.morning import moment_for

YARD = read_site(Path(__file__).parents[2] / "sites_demo" / "three_machines")
AT = moment_for(YARD, None)
DUE = tuple(item for item in work_list(YARD, AT) if item.due)


def _pumped(plan):
    return sorted(
        (stop.unit, task.joint, task.fitting, task.strokes)
        for t in plan.technicians
        for stop in t.stops
        for stand in stop.stands
        for task in stand.fittings
    )


def _as_soon(quick, full):
    return max(t.finish for t in quick.technicians) == max(t.finish for t in full.technicians)


def test_one_technician_does_the_same_work_as_soon():
    quick = quick_round(YARD, at=AT, work=DUE, seed=1, iterations=500)
    full = plan_round(YARD, RoundRequest(AT, work=DUE), effort=Effort(iterations=500))
    assert _pumped(quick) == _pumped(full)
    assert _as_soon(quick, full)


def test_two_technicians_do_the_same_work_as_soon():
    second = YARD.technicians[0].model_copy(update={"name": "Aud"})
    pair = replace(YARD, technicians=(*YARD.technicians, second))
    quick = quick_round(pair, at=AT, work=DUE, seed=1, iterations=500)
    full = plan_round(pair, RoundRequest(AT, work=DUE), effort=Effort(iterations=500))
    assert _pumped(quick) == _pumped(full)
    assert _as_soon(quick, full)
    assert quick.bound.lower_s <= quick.bound.value_s
