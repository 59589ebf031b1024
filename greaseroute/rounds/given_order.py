"""A walk of one technician in a given order of machines, by the round engine's own parts."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from functools import cached_property

from greaseroute.intervals.worklist import DueItem
from greaseroute.plan.round import RoundPlan
from greaseroute.rounds.clock import Clock
from greaseroute.rounds.in_order import best_in_order
from greaseroute.rounds.prepare import Prepared, prepare, with_levels
from greaseroute.rounds.proof import told
from greaseroute.rounds.ready_team import build_team
from greaseroute.rounds.request import RoundRequest
from greaseroute.rounds.schedule import Route, Schedule, clock_of, timed, unit_halt
from greaseroute.rounds.solved import Solved
from greaseroute.rounds.team import Team
from greaseroute.rounds.write_plan import write_plan
from greaseroute.site.model import Site
from greaseroute.visits.all_units import Levels
from greaseroute.walk.legs import NEVER

LATER = "left for a later day: this one is full"
NO_BOUND = "order given, not searched"


@dataclass(frozen=True, slots=True)
class Errand:
    """Who walks when, and which joints are asked for."""

    technician: str
    at: datetime
    items: tuple[DueItem, ...]


@dataclass(frozen=True, slots=True)
class Offer:
    """A visit that serves these joints of a unit, all fittings of each, by any of its ``ways``."""

    unit: str
    joints: frozenset[str]
    ways: tuple[int, ...]


@dataclass(frozen=True, eq=False)
class ReadyWalk:
    """An errand prepared once: stands, ways and walking times; everything after that is quick."""

    ready: Prepared
    team: Team
    seed: int

    @cached_property
    def clock(self) -> Clock:
        """The technician's steps by the clock."""
        return Clock(self.team, 0)

    @cached_property
    def offers(self) -> tuple[Offer, ...]:
        """Every visit that serves whole joints only."""
        ways = self.team.ways
        of_visit: dict[int, list[int]] = {}
        for number, way in enumerate(ways.ways):
            of_visit.setdefault(way.visit, []).append(number)
        found = []
        for row, numbers in of_visit.items():
            visit = ways.visits[row]
            keys = {j.joint.name: {f.key for f in j.fittings} for j in visit.work.joints}
            begun = {name for name, mine in keys.items() if mine & visit.items}
            if all(keys[name] <= visit.items for name in begun):
                unit = visit.work.unit.unit
                found.append(Offer(unit, frozenset(begun), tuple(numbers)))
        return tuple(found)

    @property
    def reachable(self) -> dict[str, frozenset[str]]:
        """For each unit the joints all fittings of which some visit serves."""
        found: dict[str, frozenset[str]] = {}
        for visit in self.team.ways.visits:
            whole = frozenset(
                j.joint.name
                for j in visit.work.joints
                if {f.key for f in j.fittings} <= visit.items
            )
            unit = visit.work.unit.unit
            found[unit] = found.get(unit, frozenset()) | whole
        return found

    def with_offers(self, levels: Levels) -> "ReadyWalk":
        """The same errand with a visit for each of the sets of joints that ``levels`` names."""
        ready = with_levels(self.ready, levels)
        return ReadyWalk(ready, build_team(ready), self.seed)

    def in_order(
        self, units: Sequence[str], longer_ms: Mapping[str, int]
    ) -> tuple[Schedule, RoundPlan] | None:
        """The walk to ``units`` in that order, each served in full and taking so much longer.

        Its times, and the round at the standard pace by the same ways; None where the hours of a
        unit, a crossing, the bag or the end of the shift do not allow it.
        """
        groups = [self._fullest(unit) for unit in units]
        clock = self._slower(longer_ms)
        finish, halts = best_in_order(clock, groups) if all(groups) else (NEVER, ())
        if finish >= NEVER or any(halt < 0 for halt in halts):
            return None
        member, ways = self.team.members[0], self.team.ways
        each = tuple(unit_halt(self.team, way) for way in halts)
        slow = tuple(
            replace(h, longer_ms=longer_ms[ways.units[ways.way_unit[h.way]]]) for h in each
        )
        times, standard = (
            timed(Route(0, member.start, member.finish, member.start_ms, x), clock_of(self.team, 0))
            for x in (slow, each)
        )
        skipped = {unit: LATER for unit in ways.units if unit not in units}
        bound = told((standard,), self.team.site, lower_ms=None, what=NO_BOUND)
        solved = Solved(self.ready, self.team, (standard,), skipped, bound, complete=True)
        return times, write_plan(solved, seed=self.seed)

    def _slower(self, longer_ms: Mapping[str, int]) -> Clock:
        """The clock of somebody who takes longer at some units, and does not go to a store."""
        clock = Clock(replace(self.team, stores=()), 0)
        ways = self.team.ways
        units = [ways.units[row] for row in ways.way_unit.tolist()]
        pairs = zip(clock.total_ms, units, strict=True)
        clock.total_ms = [ms + longer_ms.get(unit, 0) for ms, unit in pairs]
        return clock

    def _fullest(self, unit: str) -> list[int]:
        """The ways of a unit that serve as much as any does."""
        ways = self.team.ways
        mine = [w for w, way in enumerate(ways.ways) if ways.units[ways.unit_of[way.visit]] == unit]
        loss = {w: ways.visits[ways.ways[w].visit].loss for w in mine}
        return [w for w in mine if loss[w] == min(loss.values())]


def ready_walk(site: Site, errand: Errand, *, seed: int = 1) -> ReadyWalk:
    """Prepare an errand. Raises UnknownName and PostureRefused as the round engine does."""
    request = RoundRequest(errand.at, errand.items, False, (errand.technician,))
    ready = prepare(site, request, progress=lambda _: None)
    return ReadyWalk(ready, build_team(ready), seed)
