"""The audit of a first day: its round as a round, then every hour of it at the learner's pace."""

from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import datetime
from functools import cached_property

from greaseroute.audit.audit import audit_round
from greaseroute.audit.basis import Asked, Basis
from greaseroute.audit.by_the_clock import walks_take_their_time
from greaseroute.audit.case import Case
from greaseroute.audit.finding import AuditReport, Finding, Where
from greaseroute.audit.hours import shift_is_kept, units_stand_while_worked_on
from greaseroute.audit.open_hours import ground_is_open
from greaseroute.audit.walks import walk_is_joined, walk_keeps_off
from greaseroute.plan.first_day import FirstDay, LearnerStop
from greaseroute.plan.round import RoundPlan, Stop, TechnicianPlan
from greaseroute.site.model import Site

SECONDS_OFF = 0.2  # lessons are told with one place
MINUTES_OFF = 0.11

# The promises of a round that hold at any pace: on the learner's times these are asked again.
AT_ANY_PACE = (
    walk_is_joined,
    walk_keeps_off,
    walks_take_their_time,
    ground_is_open,
    shift_is_kept,
    units_stand_while_worked_on,
)


@dataclass(frozen=True, eq=False)
class DayCase:
    """The raw site and the first day."""

    site: Site
    first: FirstDay

    @cached_property
    def asked(self) -> Asked:
        """What the round was asked for: the lessons, of the learner."""
        work = frozenset((x.unit, x.joint) for stop in self.first.stops for x in stop.lessons)
        return Asked(work=work, technicians=(self.first.learner,))

    @cached_property
    def at_pace(self) -> RoundPlan:
        """The round with the learner's times and lines."""
        (walk,) = self.first.round.technicians
        stops = tuple(
            _at_pace(stop, mine) for stop, mine in zip(walk.stops, self.first.stops, strict=True)
        )
        path: list[tuple[float, float]] = []
        for line in (*(x for s in stops for x in (s.path, s.inside)), _home(walk)):
            path += [p for k, p in enumerate(line) if k or not path or p != path[-1]]
        slow = walk.model_copy(
            update={"stops": stops, "finish": self.first.finish, "path": tuple(path)}
        )
        return self.first.round.model_copy(update={"technicians": (slow,)})


def _at_pace(stop: Stop, mine: LearnerStop) -> Stop:
    update = {"arrive": mine.arrive, "leave": mine.leave, "wait_s": mine.wait_s, "path": mine.path}
    return stop.model_copy(update=update)


def _home(walk: TechnicianPlan) -> tuple[tuple[float, float], ...]:
    """The way home: what the path of the round holds beyond its stops."""
    count: list[tuple[float, float]] = []
    for stop in walk.stops:
        for line in (stop.path, stop.inside):
            count += [p for k, p in enumerate(line) if k or not count or p != count[-1]]
    return walk.path[max(0, len(count) - 1) :]


Promise = Callable[[DayCase], Iterator[Finding]]


def people_are_two(case: DayCase) -> Iterator[Finding]:
    """The learner is of the site, and learns from somebody else."""
    names = {t.name for t in case.site.technicians}
    if case.first.learner not in names:
        yield Where(case.first.learner).finding("site", "is no technician of the site")
    if case.first.mentor == case.first.learner:
        yield Where(case.first.learner).finding("people", "learns from himself")


def stops_are_those_of_the_round(case: DayCase) -> Iterator[Finding]:
    """The learner stops where the round does; the lessons are what is pumped there, in order."""
    walks = case.first.round.technicians
    rounds = walks[0].stops if walks else ()
    if [s.unit for s in rounds] != [s.unit for s in case.first.stops]:
        yield Where().finding("stops", "the machines are not those of the round, in its order")
        return
    for stop, mine in zip(rounds, case.first.stops, strict=True):
        pumped = list(dict.fromkeys(f.joint for s in stop.stands for f in s.fittings))
        if pumped != [x.joint for x in mine.lessons]:
            what = "the lessons are not the joints pumped there, in the order they are done"
            yield Where(unit=stop.unit).finding("lessons", what)


def lessons_take_their_time(case: DayCase) -> Iterator[Finding]:
    """Each lesson is the next of its kind and takes its curve's time; a stop takes its lessons'."""
    done: Counter[str] = Counter()
    walks = case.first.round.technicians
    rounds = walks[0].stops if walks else ()
    for stop, mine in zip(rounds, case.first.stops, strict=False):
        surplus = mine.shown_s
        for x in mine.lessons:
            done[x.kind] += 1
            where = Where(unit=x.unit, joint=x.joint)
            if x.nth != done[x.kind]:
                yield where.finding("lessons", f"is told as number {x.nth} of its kind")
            due_s = x.standard_s * case.first.curve.factor(done[x.kind])
            if abs(x.learner_s - due_s) > SECONDS_OFF * (1 + case.first.curve.first):
                yield where.finding("pace", "takes another time than its curve says")
            surplus += x.learner_s - x.standard_s
        if abs(mine.shown_s - 60 * case.first.show_min * len(mine.lessons)) > 1:
            yield Where(unit=mine.unit).finding("pace", "is shown for another time than told")
        spent = _spent_s(mine.arrive, mine.leave) - mine.wait_s
        plain = _spent_s(stop.arrive, stop.leave) - stop.wait_s
        off = abs(spent - plain - surplus)
        if off > 1.0 + SECONDS_OFF * len(mine.lessons):
            what = "takes another time than its standard one and its lessons'"
            yield Where(unit=mine.unit).finding("pace", what, off=off, measure="s")


def _spent_s(begin: str, end: str) -> float:
    return (datetime.fromisoformat(end) - datetime.fromisoformat(begin)).total_seconds()


def the_hours_are_kept(case: DayCase) -> Iterator[Finding]:
    """At the learner's pace too: walks, open ground, machines that stand, the shift."""
    if [s.unit for s in case.first.stops] != [
        s.unit for t in case.first.round.technicians for s in t.stops
    ]:
        return
    slow = Case(Basis(case.site, case.at_pace, case.asked))
    for promise in AT_ANY_PACE:
        for finding in promise(slow):
            yield finding.model_copy(update={"what": f"at the learner's pace: {finding.what}"})


def the_window_is_kept(case: DayCase) -> Iterator[Finding]:
    """The day ends inside its window, its minutes are told right."""
    walks = case.first.round.technicians
    if not walks:
        return
    spent_min = _spent_s(walks[0].start, case.first.finish) / 60
    if abs(spent_min - case.first.learner_min) > MINUTES_OFF:
        what = f"{case.first.learner_min:.1f} min are told, it takes {spent_min:.1f}"
        yield Where(case.first.learner).finding("sums", what)
    if case.first.stops and spent_min > case.first.window_min + MINUTES_OFF:
        what = f"takes {spent_min:.1f} min of {case.first.window_min:.1f}"
        yield Where(case.first.learner).finding("window", what)


def what_is_met_is_counted(case: DayCase) -> Iterator[Finding]:
    """Pairs met are counted once each; what is told as not met is not met; easy stands first."""
    first = case.first
    met = {(x.family, x.kind) for stop in first.stops for x in stop.lessons}
    if len(met) != first.choice.covered:
        yield Where().finding("pairs", f"{first.choice.covered} are told as met, {len(met)} are")
    if not len(met) <= first.choice.most <= first.choice.wanted:
        what = f"{len(met)} met, at most {first.choice.most} of {first.choice.wanted}"
        yield Where().finding("pairs", what)
    later = {(x.family, x.kind) for day in first.later for x in day.lessons}
    for family, kind in sorted({(n.family, n.kind) for n in first.not_met} & (met | later)):
        yield Where().finding("pairs", f"{family}, {kind} is met and told as not met")
    hard = [stop.difficulty for stop in first.stops]
    for stop in first.stops:
        mean = sum(x.difficulty for x in stop.lessons) / max(1, len(stop.lessons))
        if abs(mean - stop.difficulty) > 2e-3:
            yield Where(unit=stop.unit).finding("order", "its difficulty is not its lessons' mean")
    if first.easy_first and hard != sorted(hard):
        yield Where().finding("order", "easy is told to stand before hard and does not")


PROMISES: tuple[Promise, ...] = (
    people_are_two,
    stops_are_those_of_the_round,
    lessons_take_their_time,
    the_hours_are_kept,
    the_window_is_kept,
    what_is_met_is_counted,
)


def audit_first_day(site: Site, first: FirstDay, *, file: str = "first_day.json") -> AuditReport:
    """Every promise of a first day that it does not keep."""
    case = DayCase(site, first)
    found = audit_round(site, first.round, asked=case.asked, file=file)
    own = tuple(f for promise in PROMISES for f in promise(case))
    looked = {
        **found.looked_at,
        "promises": found.looked_at["promises"] + len(PROMISES) + len(AT_ANY_PACE),
        "lessons": sum(len(stop.lessons) for stop in first.stops),
    }
    return AuditReport(
        file=file, site=site.name, at=first.at, looked_at=looked,
        findings=(*found.findings, *own),
    )  # fmt: skip
