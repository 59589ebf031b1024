"""A new technician's first day: the choice, the walk, what is left for later days."""

from collections import Counter
from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime

from greaseroute.plan.first_day import Choice, FirstDay, LaterDay, Lesson
from greaseroute.plan.round import RoundPlan, TechnicianPlan
from greaseroute.rounds.given_order import Errand, ReadyWalk, ready_walk
from greaseroute.rounds.schedule import Schedule
from greaseroute.site.model import Site
from greaseroute.site.morning import start_of
from greaseroute.training.beside import left_out, not_met, repeats, skips
from greaseroute.training.candidates import Candidate, Pair, mean_difficulty
from greaseroute.training.cautions import with_learner_cautions
from greaseroute.training.choice import DaySettings, Field, most_pairs
from greaseroute.training.day import Day, Pairing, limit_ms, ready_day
from greaseroute.training.pace import Pace, lesson
from greaseroute.training.search import WalkFound
from greaseroute.units import MS_PER_S, S_PER_MIN, ms
from greaseroute.visits.work import JointWork, UnitWork

MOST_DAYS = 5
Progress = Callable[[str], None]
Chosen = Mapping[str, Sequence[Candidate]]  # the lessons at each machine, in the order walked to


@dataclass(frozen=True, slots=True)
class Best:
    """The walk chosen, its lessons machine by machine, whether easy stands before hard."""

    walk: WalkFound
    chosen: Chosen
    easy_first: bool
    exact: bool


def best_walk(day: Day, limit: int, *, done: Mapping[str, int], without: Collection[Pair]) -> Best:
    """Most pairs; with as many pairs the earliest finish, whatever the order."""
    found, offers = day.frontier(done=done, without=without)
    walk, units = found.within(limit), day.site.units
    chosen = {units[offers[s.offer].unit].unit: offers[s.offer].lessons for s in walk.steps}
    return Best(walk, chosen, _is_easy_first(chosen), found.exact)


def _is_easy_first(chosen: Chosen) -> bool:
    hard = [mean_difficulty(lessons) for lessons in chosen.values()]
    return hard == sorted(hard)


def easy_first(best: Best) -> Best:
    """The same lessons, machines in the order easy before hard."""
    order = sorted(best.chosen.items(), key=lambda item: mean_difficulty(item[1]))
    return replace(best, chosen=dict(order), easy_first=True)


@dataclass(frozen=True, slots=True, eq=False)
class Walked:
    """The walk by the clock of the learner, and the round at the standard pace."""

    best: Best
    walk: ReadyWalk
    times: Schedule
    plan: RoundPlan


def longer_ms(day: Day, chosen: Chosen) -> dict[str, int]:
    """What the learner adds at each machine, in the order walked to."""
    done: Counter[str] = Counter()
    longer = {}
    for unit, lessons in chosen.items():
        extra = ms(day.settings.show_s) * len(lessons)
        for each in lessons:
            done[each.kind] += 1
            extra += ms(each.standard_s * (day.settings.curve.factor(done[each.kind]) - 1))
        longer[unit] = extra
    return longer


def walked(day: Day, best: Best, limit: int) -> Walked:
    """The chosen lessons easy before hard where that is back in time, else as they were found.

    Ground is closed by the postures of their own machines, else by those of all looked at.
    """
    items = tuple(c.work.due for lessons in best.chosen.values() for c in lessons)
    errand = Errand(day.pair.learner.name, day.morning.zero, items)
    sets = {unit: {c.work.joint.name for c in each} for unit, each in best.chosen.items()}

    def chosen_only(work: UnitWork) -> list[tuple[JointWork, ...]]:
        mine = tuple(j for j in work.joints if j.joint.name in sets.get(work.unit.unit, ()))
        return [mine] if mine else [work.joints]

    for own in (
        ready_walk(day.site, errand, seed=day.settings.seed),
        day.walk.with_offers(chosen_only),
    ):
        for each in (easy_first(best), best):
            found = own.in_order(tuple(each.chosen), longer_ms(day, each.chosen))
            if found is not None and found[0].finish_ms <= limit:
                return Walked(each, own, *found)
    raise AssertionError("the walk that was found cannot be walked")


def _later(day: Day, first: Best, *, limit: int) -> tuple[tuple[LaterDay, ...], set[Pair]]:
    """Days two, three and on until all pairs are met or nothing more fits into a day."""
    met = {c.pair for lessons in first.chosen.values() for c in lessons}
    done = Counter(c.kind for lessons in first.chosen.values() for c in lessons)
    days: list[LaterDay] = []
    for number in range(2, MOST_DAYS + 1):
        if met >= {c.pair for c in day.reachable}:
            break
        best = best_walk(day, limit, done=done, without=met)
        if not best.chosen:
            break
        lessons: list[Lesson] = []
        for candidate in (c for each in best.chosen.values() for c in each):
            done[candidate.kind] += 1
            lessons.append(lesson(candidate, nth=done[candidate.kind], curve=day.settings.curve))
            met.add(candidate.pair)
        spent = best.walk.finish_ms - start_of(day.pair.learner, day.morning)
        days.append(LaterDay(day=number, minutes=_minutes(spent), lessons=tuple(lessons)))
    return tuple(days), met


def _choice(day: Day, found: Walked, *, limit: int) -> Choice:
    best = found.best
    wanted = len({c.pair for c in day.reachable})
    start = start_of(day.pair.learner, day.morning)
    spent = max(0, found.times.finish_ms - start)
    least = max(0, best.walk.finish_ms - start) if best.chosen else spent
    most = best.walk.pairs
    if not best.exact and most < wanted:
        field = Field(day.site, day.reachable, Counter(), limit - start, day.settings)
        most = max(most, min(wanted, most_pairs(field).most_pairs))
    return Choice(
        covered=best.walk.pairs,
        wanted=wanted,
        most=most,
        minutes=_minutes(spent),
        least_min=_minutes(min(least, spent)),
        status="optimal" if best.exact or best.walk.pairs == most else "bounded",
    )


def _notes(day: Day, best: Best) -> tuple[str, ...]:
    notes = ["each joint counts as one time of its kind; times never fall below the standard time"]
    if best.easy_first:
        notes.append(
            "the machines stand in the order easy before hard, so the walk is longer than the "
            "shortest; inside a machine the order is that of the walk round it"
        )
    else:
        notes.append(
            "the machines do not all stand in the order easy before hard: in that order fewer "
            "kinds would be met before machines leave and the shift starts"
        )
    asked = day.settings.window_min
    start, end = start_of(day.pair.learner, day.morning), day.morning.end_ms
    if asked is not None and start + ms(asked * S_PER_MIN) > end:
        notes.append(f"the shift starts at {day.morning.moment(end):%H:%M}: the day ends there")
    return tuple(notes)


# Long: one record filled field by field.
def plan_first_day(
    site: Site,
    at: datetime,
    *,
    pair: Pairing,
    settings: DaySettings,
    progress: Progress = lambda _: None,
) -> FirstDay:
    """The first day of ``pair.learner`` beginning at ``at``.

    The walk goes by the clock of a round: hours of machines, people and crossings, the shift's
    start, guns and bag. It meets as many pairs of family and kind of joint as are found to fit.
    """
    progress("choosing: stands and ways")
    day = ready_day(site, at, pair, settings=settings)
    limit = limit_ms(day.morning, pair.learner, window_min=settings.window_min)
    progress(f"choosing among {len(day.reachable)} joints")
    best = best_walk(day, limit, done={}, without=())
    progress(f"walk to {len(best.chosen)} machines")
    found = walked(day, best, limit)
    best = found.best
    walks = next(o.walks for o in found.walk.ready.outlooks)
    pace = Pace(site, day.morning, settings.curve, settings.show_s, walks)
    stops = pace.stops(found.plan, found.times, best.chosen)
    progress("days two and three")
    later, met = _later(day, best, limit=limit)
    (technician,) = found.plan.technicians
    start = start_of(pair.learner, day.morning)
    spent = found.times.finish_ms - start
    first = FirstDay(
        site=site.name,
        at=found.plan.at,
        seed=settings.seed,
        learner=pair.learner.name,
        mentor=pair.mentor,
        curve=settings.curve,
        show_min=round(settings.show_s / S_PER_MIN, 2),
        window_min=_minutes(limit - start),
        start_place=technician.start_place or pair.learner.start,
        finish_place=technician.finish_place or pair.learner.finish,
        finish=day.morning.text(found.times.finish_ms),
        learner_min=_minutes(spent),
        standard_min=_standard_min(technician),
        shift_start=found.plan.shift_start,
        mentor_min=_minutes(spent),
        mentor_shows_min=round(sum(stop.shown_s for stop in stops) / S_PER_MIN, 1),
        easy_first=best.easy_first,
        guns=pair.learner.guns,
        carry={name: count.carry for name, count in sorted(technician.cartridges.items())},
        stops=stops,
        repeat=repeats(day, found.times, pace, limit=limit),
        skip_when_late=skips(stops),
        later=later,
        not_met=not_met(day, met=met),
        left=left_out(day),
        choice=_choice(day, found, limit=limit),
        round=found.plan,
        notes=_notes(day, best),
    )
    return with_learner_cautions(first, site)


def _minutes(milliseconds: int) -> float:
    return round(milliseconds / MS_PER_S / S_PER_MIN, 1)


def _standard_min(walk: TechnicianPlan) -> float:
    return round((walk.walk_s + walk.work_s + walk.wait_s) / S_PER_MIN, 1)
