"""What is told beside a first day's walk: what is not met, what to repeat, what to skip."""

from collections.abc import Collection, Sequence
from datetime import datetime

from greaseroute.plan.first_day import LearnerStop, Lesson, NotMet, SkipStop
from greaseroute.plan.round import LeftOut
from greaseroute.rounds.schedule import Schedule
from greaseroute.training.candidates import Pair, site_pairs
from greaseroute.training.day import Day
from greaseroute.training.pace import Pace, lesson
from greaseroute.units import S_PER_MIN, ms


def not_met(day: Day, *, met: Collection[Pair]) -> tuple[NotMet, ...]:
    """Families and kinds of joint on the site that no day meets, each with why."""
    due, can = {c.pair for c in day.found}, {c.pair for c in day.reachable}
    found = []
    for family, kind in site_pairs(day.site):
        if (family, kind) in met:
            continue
        if (family, kind) not in due:
            reason = "none is due or nearly due now, or the learner has no gun for it"
        elif (family, kind) not in can:
            reason = "cannot be reached in full this morning"
        else:
            reason = "takes longer than one morning at a learner's pace, or its machine leaves"
        found.append(NotMet(family=family, kind=kind, reason=reason))
    return tuple(found)


def left_out(day: Day) -> tuple[LeftOut, ...]:
    """Joints of pairs that nothing else offers, and that cannot be reached in full."""
    can = {c.pair for c in day.reachable}
    keys = {c.key for c in day.found if c.pair not in can}
    plan = day.walk.ready.left
    told = {(x.unit, x.joint): x for x in plan}
    missed = [c for c in day.found if c.key in keys]
    return tuple(
        told.get(
            c.key,
            LeftOut(
                unit=c.unit, joint=c.work.joint.name, critical=c.work.joint.critical,
                reason="not all of its fittings can be reached this morning",
                helps="see the round of this morning",
            ),
        )
        for c in missed
    )  # fmt: skip


def repeats(day: Day, times: Schedule, pace: Pace, *, limit: int) -> tuple[Lesson, ...]:
    """Joints of kinds already met that the last machine offers, as many as the time left holds."""
    if not times.halts:
        return ()
    last, left_ms = times.halts[-1], limit - times.finish_ms
    assert last.call is not None
    unit = last.call.visit.work.unit.unit
    left_ms = min(left_ms, day.walk.team.windows[unit][1] - last.leave_ms)
    taken = {joint for joint, _ in last.call.visit.items}
    repeat = []
    for c in (c for c in day.reachable if c.unit == unit and c.work.joint.name not in taken):
        nth = pace.done[c.kind] + 1
        again_ms = ms(c.standard_s * pace.curve.factor(nth))
        if pace.done[c.kind] and again_ms <= left_ms and not c.work.needs_second:
            pace.done[c.kind], left_ms = nth, left_ms - again_ms
            repeat.append(lesson(c, nth=nth, curve=pace.curve))
    return tuple(repeat)


def skips(stops: Sequence[LearnerStop]) -> tuple[SkipStop, ...]:
    """Machines in the order in which to leave them out: most minutes for each kind lost first."""
    found = []
    for stop in stops:
        arrive, leave = (datetime.fromisoformat(t) for t in (stop.arrive, stop.leave))
        minutes = (leave - arrive).total_seconds() / S_PER_MIN
        kinds = tuple(each.kind for each in stop.lessons)
        found.append(SkipStop(unit=stop.unit, minutes=round(minutes, 1), kinds=kinds))
    return tuple(sorted(found, key=lambda x: -x.minutes / len(x.kinds)))
