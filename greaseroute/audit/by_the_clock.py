"""Promises about time: walks take their time, visits do, and the sums add up."""

import math
from collections.abc import Iterator

import numpy as np

from greaseroute.audit.case import Case, Leg
from greaseroute.audit.finding import Finding, Measure, Where
from greaseroute.audit.house_rules import CLOCK_MS, PLACE_M, may_be_off_ms
from greaseroute.audit.open_hours import leg_arrivals
from greaseroute.audit.visits import Visit
from greaseroute.plan.round import TechnicianPlan
from greaseroute.units import MS_PER_S

SUM_M = 0.001


def walks_take_their_time(case: Case) -> Iterator[Finding]:
    """Nobody arrives before the walk could be done, or later than it takes without a reason."""
    for leg in case.legs:
        walk_ms = case.walk_ms(leg.track)
        slack_ms = may_be_off_ms(walk_ms)
        where = case.where_leg(leg)
        short_ms = walk_ms - leg.span_ms
        if short_ms > slack_ms:
            what = f"arrives before the walk to {leg.goal} can be done"
            yield where.finding("clock", what, off=short_ms / MS_PER_S, measure="s")
            continue
        there = leg_arrivals(case, leg, look_when_open=True)
        idle_ms = leg.to_ms - there[0][0] if there else 0.0
        if idle_ms > slack_ms + _edge_ms(case, leg) and not _waits_anyway(case, leg):
            what = f"nothing shut on the way to {leg.goal} explains so late an arrival"
            yield where.finding("clock", what, off=idle_ms / MS_PER_S, measure="s")


def _edge_ms(case: Case, leg: Leg) -> float:
    """How long one walks over the width in which the edge of what is shut may lie, ms."""
    steps = case.walked.steps(leg.track)
    paces = (s.walk_s / math.dist(s.start, s.end) for s in steps if s.start != s.end)
    return 2 * PLACE_M * max(paces, default=0.0) * MS_PER_S


def _waits_anyway(case: Case, leg: Leg) -> bool:
    """Whether a leg leads to a visit that cannot begin on arrival: then one may stroll."""
    stops = case.basis.plan.technicians[leg.technician].stops
    return leg.stop < len(stops) and stops[leg.stop].wait_s * MS_PER_S > CLOCK_MS


def visits_take_their_time(case: Case) -> Iterator[Finding]:
    """From arriving to leaving lies the wait, isolation, walks, climbs, events, every fitting."""
    clock = case.basis.clock
    for t, technician in enumerate(case.basis.plan.technicians):
        for s, stop in enumerate(technician.stops):
            told_ms = clock.of_text(stop.leave) - clock.of_text(stop.arrive)
            needed_ms = _needed_ms(case, t, s)
            parts = sum(3 + len(v.fittings) + len(v.looks) + len(v.again) for v in stop.stands)
            slack_ms = may_be_off_ms(told_ms, parts=2 + parts) / 2
            if needed_ms is not None and abs(told_ms - needed_ms) > slack_ms:
                off_s = (told_ms - needed_ms) / MS_PER_S
                what = f"the stop takes {'less' if off_s < 0 else 'more'} time than its parts"
                where = Where(technician.name, stop.unit, at=stop.leave)
                yield where.finding("clock", what, off=abs(off_s), measure="s")


def _needed_ms(case: Case, t: int, s: int) -> float | None:
    """The time of a stop by its parts; None at a unit or of a technician that is not known."""
    stop = case.basis.plan.technicians[t].stops[s]
    rules = case.basis.site.rules
    if stop.reload:
        return (stop.wait_s + rules.reload_s) * MS_PER_S
    visit = case.visits.get((t, s))
    if visit is None:
        return None
    numbers = range(len(stop.stands))
    spent_s = stop.wait_s + visit.first_s()
    spent_s += sum(visit.stand_s(k, case.heights_m(visit, k)) for k in numbers)
    tracks = [case.track_numbers[t, s, k] for k in numbers if (t, s, k) in case.track_numbers]
    return spent_s * MS_PER_S + sum(case.walk_ms(track) for track in tracks)


def stands_tell_their_time(case: Case) -> Iterator[Finding]:
    """What a stand says of its steps beforehand and of each fitting agrees with the clock."""
    for (t, _), visit in case.visits.items():
        name = case.basis.plan.technicians[t].name
        for number in range(len(visit.stop.stands)):
            yield from _told_times(case, visit, number, name=name)


def _told_times(case: Case, visit: Visit, number: int, *, name: str) -> Iterator[Finding]:
    stand = visit.stop.stands[number]
    before_s = visit.before_s(number, case.heights_m(visit, number))
    where = Where(name, visit.stop.unit, place_m=(stand.x_m, stand.y_m))
    told = [(where, "the steps before the first fitting", stand.before_s, before_s)]
    told += [
        (Where(name, visit.stop.unit, f.joint, f.fitting), "it", f.work_s, visit.fitting_s(f))
        for f in stand.fittings
    ]
    for at, what, said_s, is_s in told:
        off_s = abs(said_s - is_s)
        if off_s * MS_PER_S > CLOCK_MS * (3 + len(stand.again)):
            text = f"{what} at stand {number + 1} takes {is_s:.1f} s, told are {said_s:.1f} s"
            yield at.finding("clock", text, off=off_s, measure="s")


def sums_add_up(case: Case) -> Iterator[Finding]:
    """Metres, walking, waiting and working times of each technician are the sums of the parts."""
    for t, technician in enumerate(case.basis.plan.technicians):
        walk_s, wait_s = _walked_ms(case, t) / MS_PER_S, _waited_ms(case, t) / MS_PER_S
        start, finish = (case.basis.clock.of_text(x) for x in (technician.start, technician.finish))
        whole_s = (finish - start) / MS_PER_S
        together_s = technician.walk_s + technician.work_s + technician.wait_s
        parts = 2 * len(technician.stops) + sum(len(s.stands) for s in technician.stops)
        off_s = may_be_off_ms(walk_s * MS_PER_S, parts=parts) / MS_PER_S
        for what, told, found, off in (
            ("walk_s", technician.walk_s, walk_s, off_s),
            ("wait_s", technician.wait_s, wait_s, off_s),
            ("the whole time in s", together_s, whole_s, 3 * CLOCK_MS / MS_PER_S),
            ("walk_m", technician.walk_m, _length_m(technician), SUM_M),
        ):
            if abs(told - found) > off:
                text = f"{what} is told as {told:.3f} and adds up to {found:.3f}"
                measure: Measure = "m" if what == "walk_m" else "s"
                where = Where(technician.name)
                yield where.finding("sums", text, off=abs(told - found), measure=measure)


def _walked_ms(case: Case, t: int) -> float:
    tracks = case.walked.tracks
    return sum(case.walk_ms(k) for k, track in enumerate(tracks) if track.technician == t)


def _waited_ms(case: Case, t: int) -> float:
    """Waiting on the way, as far as the clock leaves it, and at the stops."""
    legs = (leg for leg in case.legs if leg.technician == t)
    on_the_way = sum(max(0.0, leg.span_ms - case.walk_ms(leg.track)) for leg in legs)
    stops = case.basis.plan.technicians[t].stops
    return on_the_way + sum(stop.wait_s for stop in stops) * MS_PER_S


def _length_m(technician: TechnicianPlan) -> float:
    points = np.asarray(technician.path, dtype=float).reshape(-1, 2)
    return float(np.hypot(*np.diff(points, axis=0).T).sum()) if len(points) > 1 else 0.0
