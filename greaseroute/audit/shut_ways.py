"""The promise that a way is shut by the clock where it is said to be: nobody could walk it.

A machine that is left out since every way to it, or back from it, is shut gets a place of its own
and a shortest way of its own over the ground of each stretch of hours. Where such a way is open
for long enough, the claim does not hold; where none is found, nothing is said.
"""

import re
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property
from itertools import islice, pairwise

import shapely
from shapely.geometry.base import BaseGeometry

from greaseroute.audit.case import Case
from greaseroute.audit.finding import Finding
from greaseroute.audit.house_rules import PLACE_M
from greaseroute.audit.left import Claim, claims
from greaseroute.audit.moments import Span, sets_off
from greaseroute.audit.places import serving_place
from greaseroute.audit.shortest import ShortestWays
from greaseroute.audit.tracks import Point2
from greaseroute.units import MS_PER_S

THERE, BACK = r"^every way to it is shut", r"^every way back from it is shut"
MARGIN_MS = 5000.0  # no quarrel about less
MOST_TRIED = 6  # joints looked into: a way costs some tenths of a second


@dataclass(frozen=True, eq=False)
class OpenWays:
    """The ground of each stretch of hours, and ways over it."""

    case: Case

    @cached_property
    def stretches(self) -> tuple[tuple[Span, BaseGeometry], ...]:
        """Every stretch of hours of the round in which nothing opens or shuts, with its ground.

        The last one is over when the shift starts.
        """
        timed, end_ms = self.case.ground.by_the_clock, self.case.basis.end_ms
        hours = {at for s in timed for span in s.spans for at in span if 0 < at < end_ms}
        return tuple(((a, b), self._ground(a, b)) for a, b in pairwise([0, *sorted(hours), end_ms]))

    def _ground(self, begin: int, end: int) -> BaseGeometry:
        shut = [
            s.near
            for s in self.case.ground.by_the_clock
            if any(first < end and last > begin for first, last in s.spans)
        ]
        return self.case.ground.walkable.difference(shapely.union_all(shut))

    def is_open(self, spot: Point2, *, since: int, until: int) -> bool:
        """Whether one can stand at a spot all the time."""
        here = shapely.points(spot)
        return all(
            shapely.distance(ground, here) <= PLACE_M
            for (begin, end), ground in self.stretches
            if begin < until and end > since
        )

    def there(self, number: int, spot: Point2, *, from_ms: int) -> int | None:
        """When a technician who waits at the start and then walks in one stretch of hours can be
        at a spot; None where this finds no way."""
        start = self.case.basis.plan.technicians[number].path[0]
        for (begin, end), ground in self.stretches:
            off = max(begin, from_ms)
            if end <= from_ms or not self.is_open(start, since=from_ms, until=off + 1):
                continue
            walk_ms = self._walk_ms(number, (start, spot), ground)
            if walk_ms is not None and off + walk_ms + MARGIN_MS <= end:
                return round(off + walk_ms)
        return None

    def back(self, number: int, spot: Point2) -> bool:
        """Whether what is open in the end joins a spot, open till then, to the finish."""
        finish = self.case.basis.plan.technicians[number].path[-1]
        last_ms = self.stretches[-1][0][0]
        joined = _joining(self.stretches[-1][1], (spot, finish)) is not None
        return joined and self.is_open(spot, since=0, until=last_ms + 1)

    def _walk_ms(
        self, number: int, ends: tuple[Point2, Point2], ground: BaseGeometry
    ) -> float | None:
        part = _joining(ground, ends)
        line = None if part is None else ShortestWays(part).way(*ends)
        return None if line is None else self.case.line_s(number, line) * MS_PER_S


def _joining(ground: BaseGeometry, ends: tuple[Point2, Point2]) -> BaseGeometry | None:
    """The part of a ground on which two points lie; None where they lie on no one part."""
    parts = shapely.get_parts(ground)
    near = [shapely.distance(parts, shapely.points(end)) <= PLACE_M for end in ends]
    return next(iter(parts[near[0] & near[1]]), None)


def _disproved(ways: OpenWays, claim: Claim, *, back: bool) -> str:
    """Who gets to a fitting, or back from it, and from where; empty where nobody is found."""
    case, posture = ways.case, ways.case.basis.units[claim.unit].posture
    for number, technician in enumerate(case.basis.plan.technicians):
        walker = case.basis.walkers[number]
        arms = [arm for arm in claim.arms() if arm.name == technician.name]
        if walker is None or not technician.path or not arms:
            continue
        key = (claim.joint.name, claim.fittings[0])
        place = serving_place(case, claim.unit, key, posture=posture, arm=arms[0])
        if place is None or place.deck:
            continue
        spot = (place.x_m, place.y_m)
        if back and not ways.back(number, spot):
            continue
        at_ms = ways.there(number, spot, from_ms=sets_off(walker, case.basis.clock))
        if at_ms is not None:
            home = ", and is joined to the finish by what is open in the end" if back else ""
            at = case.basis.clock.text(at_ms)[11:19]
            return f"{technician.name} could be at {place} at {at}{home}"
    return ""


def shut_ways_are_shut(case: Case) -> Iterator[Finding]:
    """No way that is said to be shut to a unit, or back from it, can be walked by the clock."""
    ways = OpenWays(case)
    for claim in islice(claims(case, f"{THERE}|{BACK}"), MOST_TRIED):
        told = _disproved(ways, claim, back=bool(re.search(BACK, claim.left.reason)))
        if told:
            yield claim.disproved(told)
