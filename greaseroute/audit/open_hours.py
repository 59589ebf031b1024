"""The promise that ground is open while somebody is on it, and when a leg can be walked at all.

A leg is cut into pieces at whose ends the hours change. Between two pieces one may wait for as
long as the ground on one side is open; within a piece one may go slower, never quicker.
"""

from collections.abc import Iterable, Iterator, Sequence

import shapely

from greaseroute.audit.case import Case, Leg, Standing
from greaseroute.audit.finding import Finding
from greaseroute.audit.house_rules import CLOCK_MS, may_be_off_ms
from greaseroute.audit.moments import Span
from greaseroute.audit.tracks import Step
from greaseroute.units import MS_PER_S

Stretch = tuple[float, float]
NEVER, ALWAYS = float("-inf"), float("inf")


def stretches_open(shut: Iterable[Span]) -> list[Stretch]:
    """The stretches between those that are shut, in order; the first and last have no end."""
    found, begin = [], NEVER
    for first, last in sorted(shut):
        if first > begin:
            found.append((begin, float(first)))
        begin = max(begin, float(last))
    return [*found, (begin, ALWAYS)]


def arrivals(
    steps: Sequence[Step],
    spans: Sequence[Sequence[Span]],
    *,
    from_ms: float,
    start: Sequence[int],
    look_when_open: bool,
) -> list[Stretch]:
    """Every moment (ms) at which one can be at the end of a leg that is set off on at ``from_ms``.

    Parameters
    ----------
    steps : sequence of Step
        The pieces of the leg in order.
    spans : sequence of sequences of spans
        When each zone or crossing of `Ground.by_the_clock` is shut.
    start : sequence of int
        What lies over the place where the leg begins, as numbers into ``spans``.
    look_when_open : bool
        Whether the wait that a crossing costs is taken once it is open, not before.
    """
    there: list[Stretch] = [(from_ms, from_ms)]
    before = set(start)
    for step in steps:
        over_place = before & set(step.shut)  # the place is shut where both sides of it are
        at_place = stretches_open(span for k in over_place for span in spans[k])
        wait_ms, walk_ms = step.wait_s * MS_PER_S, step.walk_s * MS_PER_S
        before_ms, on_it_ms = (0.0, wait_ms) if look_when_open else (wait_ms, 0.0)
        ready = _waited(there, at_place, wait_ms=before_ms)
        on_piece = stretches_open(span for k in step.shut for span in spans[k])
        there = _walked(ready, on_piece, walk_ms=on_it_ms + walk_ms)
        before = set(step.shut)
    return there


def _waited(there: Sequence[Stretch], open_: Sequence[Stretch], *, wait_ms: float) -> list[Stretch]:
    """When one can set off again, having come at any moment of ``there`` and waited."""
    return [
        (max(first, begin) + wait_ms, end)
        for first, last in there
        for begin, end in open_
        if max(first, begin) <= min(last, end) and max(first, begin) + wait_ms <= end
    ]


def _walked(ready: Sequence[Stretch], open_: Sequence[Stretch], *, walk_ms: float) -> list[Stretch]:
    """When one can be at the end of a piece that is walked within one open stretch."""
    return [
        (max(first, begin) + walk_ms, end)
        for first, last in ready
        for begin, end in open_
        if max(first, begin) <= last and max(first, begin) + walk_ms <= end
    ]


def leg_arrivals(case: Case, leg: Leg, *, look_when_open: bool = False) -> list[Stretch]:
    """Every moment at which one can be at the end of a leg, in order.

    ``look_when_open``: for whoever looks once a crossing is open, and keeps off the very edges of
    what is shut.
    """
    timed, line = case.ground.by_the_clock, case.walked.tracks[leg.track].line
    here = shapely.points(line[0]) if line else None
    over = [k for k, shut in enumerate(timed) if here is not None and shut.near.contains(here)]
    spans = [shut.spans for shut in timed]
    steps = case.walked.steps(leg.track, to_the_edge=look_when_open)
    return sorted(
        arrivals(steps, spans, from_ms=leg.from_ms, start=over, look_when_open=look_when_open)
    )


def ground_is_open(case: Case) -> Iterator[Finding]:
    """What opens and closes by the clock is open while somebody walks or stands there."""
    if not case.ground.by_the_clock:
        return
    for leg in case.legs:
        there = leg_arrivals(case, leg)
        # What a walk that is too short for its length lacks is told as such, not here.
        short_ms = max(0.0, case.walk_ms(leg.track) - leg.span_ms)
        end_ms, slack_ms = leg.to_ms + short_ms, may_be_off_ms(leg.span_ms)
        if not any(a - slack_ms <= end_ms <= b + slack_ms for a, b in there):
            yield _shut_finding(case, leg, there=there)
    before: dict[tuple[int, int], Standing] = {}
    for standing in case.standings:
        yield from _stands_in_shut(case, standing)
        key = standing.technician, standing.stop
        if key in before:
            yield from _walks_in_shut(case, before[key], standing)
        before[key] = standing


def _shut_finding(case: Case, leg: Leg, *, there: Sequence[Stretch]) -> Finding:
    steps = [step for step in case.walked.steps(leg.track) if step.shut]
    numbers = sorted({k for step in steps for k in step.shut})
    names = " and ".join(case.ground.by_the_clock[k].name for k in numbers)
    later_ms = [a - leg.to_ms for a, _ in there if a > leg.to_ms]
    where = case.where_leg(leg, place_m=steps[0].start if steps else None)
    what = f"walks over {names} while it is shut, on the way to {leg.goal}"
    off_s = min(later_ms) / MS_PER_S if later_ms else None
    return where.finding("open hours", what, off=off_s, measure="s")


def _stands_in_shut(case: Case, standing: Standing) -> Iterator[Finding]:
    here = shapely.points(standing.foot_m)
    for shut in case.ground.by_the_clock:
        inside_ms = _during_ms(shut.spans, standing.begin_ms, standing.end_ms)
        if inside_ms > CLOCK_MS and shut.near.contains(here):
            where = case.where_standing(standing)
            what = f"works in {shut.name} while it is shut"
            yield where.finding("open hours", what, off=inside_ms / MS_PER_S, measure="s")


def _walks_in_shut(case: Case, before: Standing, standing: Standing) -> Iterator[Finding]:
    """The walk between two stands of a unit."""
    track = case.track_numbers.get((standing.technician, standing.stop, standing.number))
    steps = () if track is None else case.walked.steps(track)
    for k in sorted({k for step in steps for k in step.shut}):
        shut = case.ground.by_the_clock[k]
        inside_ms = _during_ms(shut.spans, before.end_ms, standing.begin_ms)
        if inside_ms > CLOCK_MS:
            what = f"walks over {shut.name} while it is shut, from stand to stand"
            where = case.where_standing(standing)
            yield where.finding("open hours", what, off=inside_ms / MS_PER_S, measure="s")


def _during_ms(spans: Sequence[Span], begin: float, end: float) -> float:
    """For how long something is shut between two moments."""
    return sum(max(0.0, min(b, end) - max(a, begin)) for a, b in spans)
