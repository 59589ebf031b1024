"""A walk at standard pace turned into the learner's: each joint by its curve, the mentor's time."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from greaseroute.plan.first_day import LearnerStop, Lesson
from greaseroute.plan.learning import LearningCurve
from greaseroute.plan.round import RoundPlan, Stop
from greaseroute.training.candidates import Candidate, Pair


@dataclass(slots=True)
class Progressed:
    """How often each kind was done, and which pairs were shown; local to one schedule."""

    done: dict[str, int]
    shown: set[Pair]

    def meet(self, candidate: Candidate, *, curve: LearningCurve) -> tuple[int, float, bool]:
        """(the n-th of its kind, standard times it takes, whether the mentor shows it first)."""
        nth = self.done.get(candidate.kind, 0) + 1
        self.done[candidate.kind] = nth
        new = candidate.pair not in self.shown
        self.shown.add(candidate.pair)
        return nth, curve.factor(nth), new


def lesson(candidate: Candidate, *, nth: int, factor: float) -> Lesson:
    """A candidate as a lesson, the n-th of its kind."""
    fittings = candidate.work.fittings
    return Lesson(
        unit=candidate.unit,
        joint=candidate.work.joint.name,
        family=candidate.family,
        kind=candidate.kind,
        fittings=len(fittings),
        strokes=sum(f.strokes for f in fittings),
        grease=fittings[0].grease,
        gun=fittings[0].gun,
        status=candidate.work.due.status,
        reason=candidate.work.due.reason,
        nth=nth,
        standard_s=round(candidate.standard_s, 1),
        learner_s=round(candidate.standard_s * factor, 1),
    )


def _served(stop: Stop) -> set[str]:
    return {task.joint for stand in stop.stands for task in stand.fittings}


def _moment(iso: str) -> datetime:
    return datetime.fromisoformat(iso)


def learner_stops(
    plan: RoundPlan,
    chosen: Mapping[str, Sequence[Candidate]],
    *,
    curve: LearningCurve,
    show_s: float,
    progressed: Progressed,
) -> tuple[tuple[LearnerStop, ...], datetime]:
    """The stops at the learner's pace, and when the walk ends.

    The standard walk gives each stop its length; a joint adds its curve's surplus over its
    standard time, and what is shown for the first time adds the mentor's.
    """
    technician = plan.technicians[0]
    late_s = 0.0
    found = []
    walked = _leg_metres(technician.stops)
    for stop, walk_m in zip(technician.stops, walked, strict=True):
        arrive = _moment(stop.arrive) + timedelta(seconds=late_s)
        lessons, shown = [], 0
        for candidate in chosen.get(stop.unit, ()):
            if candidate.work.joint.name in _served(stop):
                nth, factor, new = progressed.meet(candidate, curve=curve)
                lessons.append(lesson(candidate, nth=nth, factor=factor))
                shown += new
        late_s += sum(each.learner_s - each.standard_s for each in lessons) + show_s * shown
        leave = _moment(stop.leave) + timedelta(seconds=late_s)
        if stop.reload:
            continue
        found.append(
            LearnerStop(
                unit=stop.unit,
                type=stop.type,
                family=lessons[0].family if lessons else "",
                arrive=arrive.isoformat(timespec="seconds"),
                leave=leave.isoformat(timespec="seconds"),
                walk_m=round(walk_m, 1),
                difficulty=max((c.difficulty for c in chosen.get(stop.unit, ())), default=0.0),
                shown_s=show_s * shown,
                lessons=tuple(lessons),
            )
        )
    return tuple(found), _moment(technician.finish) + timedelta(seconds=late_s)


def _leg_metres(stops: Sequence[Stop]) -> list[float]:
    return [
        sum(
            ((a[0] - b[0]) ** 2 + (a[1] - b[1]) ** 2) ** 0.5
            for a, b in zip(stop.path, stop.path[1:], strict=False)
        )
        for stop in stops
    ]
