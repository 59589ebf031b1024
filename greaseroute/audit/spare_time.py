"""The promise that time and cartridges are short where it is said: nobody could do it after all.

What is left out for want of them is tried at the end of each round, or of the visit to its unit:
own places, own shortest ways, no cartridge changed. Where that ends before the shift, the claim
does not hold; where it does not, nothing is said.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import islice, pairwise

import shapely

from greaseroute.audit.cartridges import guns_after
from greaseroute.audit.case import Case
from greaseroute.audit.dose import dose_cm3, strokes_for
from greaseroute.audit.finding import Finding
from greaseroute.audit.left import Claim, claims
from greaseroute.audit.moments import unit_stands
from greaseroute.audit.places import Arm, Place, serving_place
from greaseroute.audit.shortest import ShortestWays
from greaseroute.audit.tracks import Point2
from greaseroute.audit.visits import band_of, band_s
from greaseroute.plan.round import Stop
from greaseroute.site.crew import Gun, Technician
from greaseroute.units import MS_PER_S

SHORT = r"^not enough time|^no time |^its window|^the shift ends|more cartridges|no cartridge"
MARGIN_S = 5.0  # no quarrel about less
MOST_TRIED = 6  # joints looked into: a way costs some tenths of a second


@dataclass(frozen=True, eq=False)
class SpareTime:
    """What could still be done by whom, in the time that a plan leaves."""

    case: Case

    @cached_property
    def ways(self) -> ShortestWays:
        """Ways over ground that no hours shut."""
        ground = self.case.ground
        return ShortestWays(
            ground.walkable.difference(shapely.union_all([s.near for s in ground.by_the_clock]))
        )

    def walk_s(self, technician: int, points: Sequence[Point2]) -> float | None:
        """Walking time by way of some points; None where one cannot be walked to."""
        total = 0.0
        for a, b in pairwise(points):
            line = self.ways.way(a, b) if a != b else (a, b)
            if line is None:
                return None
            total += self.case.line_s(technician, line)
        return total

    def could(self, claim: Claim, number: int) -> str:
        """How a technician could do what a claim is about; empty where this finds no way."""
        walker = self.case.basis.walkers[number]
        if walker is None or walker not in claim.who() or claim.joint.procedure is not None:
            return ""
        for gun in claim.best_guns(walker):
            work = self._work(claim, walker, gun)
            if work is not None:
                told = self._at_the_unit(claim, number, gun, work=work)
                if told:
                    return told
        return ""

    def _work(
        self, claim: Claim, walker: Technician, gun: Gun
    ) -> tuple[list[Place], float, int] | None:
        """Places for the fittings, seconds of work at them, strokes; None where one is missing."""
        case, arm = self.case, Arm(walker.name, walker.reach, gun.hose_m)
        posture = self._posture(claim)
        dose = claim.joint.dose
        machine = case.machines.placed_in(claim.unit, posture)
        if dose is None or machine is None:
            return None
        strokes = strokes_for(dose_cm3(dose, case.basis.greases[gun.grease]), gun,
                              case.basis.greases[gun.grease])  # fmt: skip
        places, work_s = [], 0.0
        heights = {(f.joint.name, f.fitting.name): f.at_m[2] for f in machine.fittings}
        for fitting in claim.fittings:
            key = (claim.joint.name, fitting)
            place = serving_place(case, claim.unit, key, posture=posture, arm=arm)
            if place is None or place.deck:
                return None
            band = band_of(heights[key], walker.reach) or ""
            work_s += walker.reach.settle_s + walker.reach.handling_s + band_s(band, walker.reach)
            work_s += strokes * gun.stroke_s
            places.append(place)
        return places, work_s, strokes * len(claim.fittings)

    def _posture(self, claim: Claim) -> str:
        """The posture that the unit stands in at the end."""
        for _, _, stop in self.case.basis.stops():
            if stop.unit == claim.unit and stop.stands:
                return stop.stands[-1].posture
        return self.case.basis.units[claim.unit].posture

    def _at_the_unit(
        self, claim: Claim, number: int, gun: Gun, *, work: tuple[list[Place], float, int]
    ) -> str:
        technician = self.case.basis.plan.technicians[number]
        left, changed_last = guns_after(self.case, technician, gun.name)
        if left < work[2]:
            return ""
        visit = next((k for k, s in enumerate(technician.stops) if s.unit == claim.unit), None)
        if visit is None:
            return self._at_the_end(claim, number, work=work)
        if visit < changed_last or self.case.ground.by_the_clock or self.case.basis.plan.people:
            return ""
        return self._in_the_visit(claim, number, visit, work=work)

    def _at_the_end(
        self, claim: Claim, number: int, *, work: tuple[list[Place], float, int]
    ) -> str:
        """A visit of its own, after the last one and before the way to the finish."""
        basis, clock = self.case.basis, self.case.basis.clock
        if any(s.unit == claim.unit for _, _, s in basis.stops()):
            return ""
        technician = basis.plan.technicians[number]
        spots = [(p.x_m, p.y_m) for p in work[0]]
        last, since = technician.path[0], clock.of_text(technician.start)
        for stop in technician.stops:
            last, since = (stop.inside or stop.path)[-1], clock.of_text(stop.leave)
        there = self.walk_s(number, [last, spots[0]])
        between = self.walk_s(number, spots)
        home = self.walk_s(number, [spots[-1], technician.path[-1]])
        if there is None or between is None or home is None:
            return ""
        come, go = unit_stands(basis.units[claim.unit], clock)
        begin = max(since + there * MS_PER_S, come or 0)
        leave = begin + (basis.site.rules.isolation_s + between + work[1]) * MS_PER_S
        latest = min(basis.end_ms, go if go is not None else basis.end_ms)
        finish = leave + (home + MARGIN_S) * MS_PER_S
        if leave + MARGIN_S * MS_PER_S > latest or finish > basis.end_ms:
            return ""
        return f"{technician.name} could visit it last and be back at {clock.text(finish)[11:19]}"

    def _in_the_visit(
        self, claim: Claim, number: int, visit: int, *, work: tuple[list[Place], float, int]
    ) -> str:
        """More work in the visit that is made anyway; all that follows is later by that much."""
        basis, clock = self.case.basis, self.case.basis.clock
        technician = basis.plan.technicians[number]
        foot = technician.stops[visit].inside[-1]
        spots = [(p.x_m, p.y_m) for p in work[0]]
        walk_s = self.walk_s(number, [foot, *spots, foot])
        if walk_s is None:
            return ""
        later_ms = (walk_s + work[1] + MARGIN_S) * MS_PER_S
        stops = [s for s in technician.stops[visit:] if not s.reload]
        if any(clock.of_text(s.leave) + later_ms > self._goes(s) for s in stops):
            return ""
        finish = clock.of_text(technician.finish) + later_ms
        if finish > basis.end_ms:
            return ""
        return (
            f"{technician.name} could stay {later_ms / MS_PER_S:.0f} s longer, back at "
            + (clock.text(finish)[11:19])
        )

    def _goes(self, stop: Stop) -> int:
        """When a unit must be left at the latest."""
        _, go = unit_stands(self.case.basis.units[stop.unit], self.case.basis.clock)
        return self.case.basis.end_ms if go is None else min(go, self.case.basis.end_ms)


def time_is_short(case: Case) -> Iterator[Finding]:
    """What is left out for want of time or cartridges could not have been done by anybody."""
    spare = SpareTime(case)
    for claim in islice(claims(case, SHORT), MOST_TRIED):
        for number in range(len(case.basis.plan.technicians)):
            told = spare.could(claim, number)
            if told:
                yield claim.disproved(told)
                break
