"""A new technician's first day: the choice, the walk in its order, what is left for later days."""

from collections import Counter
from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta

from greaseroute.errors import UnknownName
from greaseroute.plan.first_day import Choice, FirstDay, LaterDay, LearnerStop, NotMet
from greaseroute.plan.round import LeftOut, RoundPlan, TechnicianPlan
from greaseroute.rounds.given_order import Errand, ReadyWalk, ready_walk
from greaseroute.site.crew import Technician
from greaseroute.site.model import Site
from greaseroute.site.morning import morning_of, start_of
from greaseroute.solvers.cp.coverage import Coverage
from greaseroute.training.candidates import (
    Candidate,
    Pair,
    candidates,
    site_pairs,
    undominated,
)
from greaseroute.training.choice import DaySettings, Field, choose
from greaseroute.training.pace import Progressed, learner_stops, lesson
from greaseroute.units import MS_PER_S, S_PER_MIN, ms

MOST_DAYS = 5
TRIES = 2
Prepare = Callable[[Errand], ReadyWalk]
Progress = Callable[[str], None]


@dataclass(frozen=True, slots=True)
class Pairing:
    """Who learns, from whom."""

    learner: Technician
    mentor: str


def pairing(site: Site, *, learner: str | None = None, mentor: str | None = None) -> Pairing:
    """The learner named, else the one marked as such in the site file, else the last technician;
    the mentor named, else the first other technician.

    Raises UnknownName for a technician that the site does not have.
    """
    names = {t.name: t for t in site.technicians}
    for name in (learner, mentor):
        if name is not None and name not in names:
            raise UnknownName(
                "technician", repr(name), limit=", ".join(names), next_step="see site.toml"
            )
    marked = [t for t in site.technicians if t.learner]
    who = names[learner] if learner else (marked[0] if marked else site.technicians[-1])
    others = [name for name in names if name != who.name]
    return Pairing(who, mentor or (others[0] if others else "an experienced technician"))


def window_ms(site: Site, at: datetime, pair: Pairing, *, settings: DaySettings) -> int:
    """Time of the day in milliseconds: the setting, else up to the start of the shift."""
    if settings.window_min is not None:
        return ms(settings.window_min * S_PER_MIN)
    morning = morning_of(site, at)
    return max(0, morning.end_ms - start_of(pair.learner, morning))


@dataclass(frozen=True, slots=True, eq=False)
class Walked:
    """A choice that was walked: the plan, its stops at the learner's pace, the end."""

    chosen: tuple[Candidate, ...]
    answer: Coverage
    plan: RoundPlan
    stops: tuple[LearnerStop, ...]
    finish: datetime
    progressed: Progressed


def _errand(pair: Pairing, at: datetime, *, day: Field, chosen: Sequence[Candidate]) -> Errand:
    """The walk of the chosen joints, in the time there is."""
    return Errand(
        technician=pair.learner.name,
        at=at,
        finish_by=at + timedelta(milliseconds=day.window_ms),
        items=tuple(c.work.due for c in chosen),
        units=tuple(dict.fromkeys(c.unit for c in chosen)),
    )


def _walk(
    day: Field, ready: ReadyWalk, *, chosen: tuple[Candidate, ...], answer: Coverage
) -> Walked:
    """The chosen joints walked in their order, at the learner's pace."""
    by_unit: dict[str, list[Candidate]] = {}
    for candidate in chosen:
        by_unit.setdefault(candidate.unit, []).append(candidate)
    plan = ready.plan(tuple(by_unit))
    progressed = Progressed({}, set())
    stops, finish = learner_stops(
        plan,
        by_unit,
        curve=day.settings.curve,
        show_s=day.settings.show_s,
        progressed=progressed,
    )
    return Walked(chosen, answer, plan, stops, finish, progressed)


def _spent_ms(walked: Walked) -> int:
    begun = datetime.fromisoformat(walked.plan.technicians[0].start)
    return round((walked.finish - begun) / timedelta(milliseconds=1))


def _without(day: Field, walked: Walked) -> tuple[Field, bool]:
    """The field less what the walk could not serve, and whether that leaves another choice: a
    joint elsewhere of a family and kind that was missed."""
    missed = {(left.unit, left.joint) for left in walked.plan.left}
    kept = tuple(c for c in day.found if c.key not in missed)
    lost = {c.pair for c in walked.chosen if c.key in missed}
    return replace(day, found=kept), any(c.pair in lost for c in kept)


def _shorter(chosen: Sequence[Candidate], walked: Walked) -> tuple[Candidate, ...]:
    """The choice less the machine that gives fewest kinds for its minutes, the hardest of those."""
    worth: dict[str, float] = {}
    for stop in walked.stops:
        begun, done = (datetime.fromisoformat(t) for t in (stop.arrive, stop.leave))
        worth[stop.unit] = len(stop.lessons) / max(
            1.0, (done - begun).total_seconds() + stop.walk_m
        )
    dropped = min(reversed(walked.stops), key=lambda stop: worth[stop.unit]).unit
    return tuple(c for c in chosen if c.unit != dropped)


def fitting_walk(
    pair: Pairing, at: datetime, day: Field, *, prepared: Prepare, progress: Progress
) -> tuple[Walked, Field]:
    """A choice whose real walk serves all of it and ends inside the window.

    Where the walk cannot serve a joint and another machine offers its like, the choice is made
    again without it. Where the walk is longer than reckoned, machines are left for a later day,
    those first that give fewest kinds for their minutes.
    """
    for attempt in range(TRIES):
        progress(f"choosing among {len(day.found)} joints")
        chosen, answer = choose(day)
        progress(f"walk {attempt + 1}: {len({c.unit for c in chosen})} machines")
        ready = prepared(_errand(pair, at, day=day, chosen=chosen))
        walked = _walk(day, ready, chosen=chosen, answer=answer)
        day, again = _without(day, walked)
        if not again:
            break
    while walked.stops and _spent_ms(walked) > day.window_ms:
        chosen = _shorter(chosen, walked)
        walked = _walk(day, ready, chosen=chosen, answer=answer)
    return walked, day


def _later(day: Field, walked: Walked) -> tuple[tuple[LaterDay, ...], set[Pair]]:
    """Days two, three and on until all pairs are covered or nothing more fits into a day."""
    done, met = Counter(walked.progressed.done), set(walked.progressed.shown)
    days: list[LaterDay] = []
    for number in range(2, MOST_DAYS + 1):
        rest = replace(
            day, found=tuple(c for c in day.found if c.pair not in met), done=Counter(done)
        )
        chosen, answer = choose(rest)
        if not chosen:
            break
        lessons = []
        for candidate in chosen:
            done[candidate.kind] += 1
            nth = done[candidate.kind]
            factor = day.settings.curve.factor(nth)
            lessons.append(lesson(candidate, nth=nth, factor=factor))
            met.add(candidate.pair)
        minutes = round(answer.total_ms / MS_PER_S / S_PER_MIN, 1)
        days.append(LaterDay(day=number, minutes=minutes, lessons=tuple(lessons)))
    return tuple(days), met


def _not_met(
    site: Site, all_found: Collection[Candidate], day: Field, *, met: Collection[Pair]
) -> tuple[NotMet, ...]:
    due, can = {c.pair for c in all_found}, {c.pair for c in day.found}
    found = []
    for family, kind in site_pairs(site):
        if (family, kind) in met:
            continue
        if (family, kind) not in due:
            reason = "none is due or nearly due now, or the learner has no gun for it"
        elif (family, kind) not in can:
            reason = "cannot be reached this morning, see what was left out"
        else:
            reason = "takes longer than one morning at a learner's pace"
        found.append(NotMet(family=family, kind=kind, reason=reason))
    return tuple(found)


def _choice(walked: Walked, *, wanted: int) -> Choice:
    return Choice(
        covered=len(walked.progressed.shown),
        wanted=wanted,
        most=min(wanted, walked.answer.most_pairs),
        minutes=round(walked.answer.total_ms / MS_PER_S / S_PER_MIN, 2),
        least_min=round(walked.answer.lower_ms / MS_PER_S / S_PER_MIN, 2),
        status=walked.answer.status,
    )


def _notes(walked: Walked) -> tuple[str, ...]:
    notes = [
        "each joint counts as one time of its kind; times never fall below the standard time",
        "the machines stand in the order easy before hard, so the walk is longer than the shortest",
    ]
    put_off = walked.answer.pairs - len(walked.chosen)
    if put_off > 0:
        notes.append(f"the walk is longer than reckoned: {put_off} kinds are left for day two")
    return tuple(notes)


def _left(walked: Walked) -> tuple[LeftOut, ...]:
    """What could not be done; machines left for a later day stand there."""
    kept = {c.unit for c in walked.chosen}
    return tuple(left for left in walked.plan.left if left.unit in kept)


# Long: one record filled field by field.
def plan_first_day(
    site: Site,
    at: datetime,
    *,
    pair: Pairing,
    settings: DaySettings,
    prepared: Prepare | None = None,
    progress: Progress = lambda _: None,
) -> FirstDay:
    """The first day of ``pair.learner`` beginning at ``at``.

    ``prepared`` prepares the walk of an errand (default: the round engine's own parts).
    """
    prepared = prepared or (lambda errand: ready_walk(site, errand, seed=settings.seed))
    found = undominated(candidates(site, at, learner=pair.learner, share=settings.nearly))
    limit = window_ms(site, at, pair, settings=settings)
    day = Field(site, found, Counter(), limit, settings)
    walked, day = fitting_walk(pair, at, day, prepared=prepared, progress=progress)
    progress("days two and three")
    later, met = _later(day, walked)
    technician = walked.plan.technicians[0]
    return FirstDay(
        site=site.name,
        at=walked.plan.at,
        seed=settings.seed,
        learner=pair.learner.name,
        mentor=pair.mentor,
        curve=settings.curve,
        show_min=round(settings.show_s / S_PER_MIN, 2),
        window_min=_minutes(limit),
        start_place=technician.start_place or pair.learner.start,
        finish_place=technician.finish_place or pair.learner.finish,
        finish=walked.finish.isoformat(timespec="seconds"),
        learner_min=_minutes(_spent_ms(walked)),
        standard_min=_standard_min(technician),
        guns=pair.learner.guns,
        carry={name: count.carry for name, count in sorted(technician.cartridges.items())},
        stops=walked.stops,
        later=later,
        not_met=_not_met(site, found, day, met=met),
        left=_left(walked),
        choice=_choice(walked, wanted=len({c.pair for c in day.found})),
        round=walked.plan,
        notes=_notes(walked),
    )


def _minutes(milliseconds: int) -> float:
    return round(milliseconds / MS_PER_S / S_PER_MIN, 1)


def _standard_min(walk: TechnicianPlan) -> float:
    return round((walk.walk_s + walk.work_s + walk.wait_s) / S_PER_MIN, 1)
