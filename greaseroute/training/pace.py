"""A walk at the learner's pace: its stops by the clock, each lesson as the n-th of its kind."""

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from greaseroute.plan.first_day import LearnerStop, Lesson
from greaseroute.plan.learning import LearningCurve
from greaseroute.plan.round import RoundPlan, Stop
from greaseroute.rounds.schedule import Schedule, TimedHalt
from greaseroute.site.model import Site
from greaseroute.site.morning import Morning, unit_window
from greaseroute.training.candidates import Candidate, mean_difficulty
from greaseroute.units import MS_PER_S
from greaseroute.walk.tables import Walks, length_m


def lesson(candidate: Candidate, *, nth: int, curve: LearningCurve) -> Lesson:
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
        learner_s=round(candidate.standard_s * curve.factor(nth), 1),
        difficulty=candidate.difficulty,
        second_person=candidate.work.needs_second,
    )


def in_done_order(stop: Stop, chosen: Sequence[Candidate]) -> list[Candidate]:
    """The lessons of a stop in the order in which their first fittings are pumped."""
    tasks = [task.joint for stand in stop.stands for task in stand.fittings]
    order = {name: place for place, name in reversed(list(enumerate(tasks)))}
    return sorted(chosen, key=lambda c: order.get(c.work.joint.name, len(tasks)))


@dataclass(slots=True)
class Pace:
    """Stops turned into a learner's; ``done`` counts how often each kind was done so far."""

    site: Site
    morning: Morning
    curve: LearningCurve
    show_s: float
    walks: Walks
    done: Counter[str] = field(default_factory=Counter)

    def stops(
        self, plan: RoundPlan, times: Schedule, chosen: Mapping[str, Sequence[Candidate]]
    ) -> tuple[LearnerStop, ...]:
        """Every stop of a walk with the times of the learner's schedule."""
        (technician,) = plan.technicians
        pairs = zip(technician.stops, times.halts, strict=True)
        return tuple(self._stop(stop, halt, chosen[stop.unit]) for stop, halt in pairs)

    def _stop(self, stop: Stop, halt: TimedHalt, chosen: Sequence[Candidate]) -> LearnerStop:
        lessons = []
        for candidate in in_done_order(stop, chosen):
            self.done[candidate.kind] += 1
            lessons.append(lesson(candidate, nth=self.done[candidate.kind], curve=self.curve))
        leg = halt.leg
        path = self.walks.line(halt.origin, halt.enter, span=leg.span, over=leg.over)
        return LearnerStop(
            unit=stop.unit,
            type=stop.type,
            family=lessons[0].family,
            arrive=self.morning.text(halt.arrive_ms),
            leave=self.morning.text(halt.leave_ms),
            wait_s=(halt.begin_ms - halt.arrive_ms) / MS_PER_S,
            walk_m=round(length_m(path), 1),
            path=path,
            difficulty=mean_difficulty(chosen),
            shown_s=self.show_s * len(lessons),
            lessons=tuple(lessons),
            released=self._released(stop.unit),
        )

    def _released(self, name: str) -> str:
        """When a machine leaves, where that is before the shift starts."""
        unit = next(unit for unit in self.site.units if unit.unit == name)
        _, last = unit_window(unit, self.morning)
        return self.morning.text(last) if last < self.morning.end_ms else ""
