"""A walk in a given order of machines, planned by the round engine's own parts."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

import numpy as np

from greaseroute.due.worklist import DueItem
from greaseroute.plan.round import Bound, RoundPlan
from greaseroute.rounds.prepare import Prepared, prepare
from greaseroute.rounds.ready_team import build_team
from greaseroute.rounds.request import RoundRequest
from greaseroute.rounds.schedule import Route, clock_of, timed, unit_halt
from greaseroute.rounds.solved import Solved
from greaseroute.rounds.team import Team
from greaseroute.rounds.write_plan import write_plan
from greaseroute.site.model import Site

LATER = "left for a later day: this one is full"
NO_BOUND = Bound(lower_s=0.0, value_s=0.0, gap_pct=None, what="order given, not searched")


@dataclass(frozen=True, slots=True)
class Errand:
    """Who walks when, for which joints, to which machines in which order."""

    technician: str
    at: datetime
    finish_by: datetime
    items: tuple[DueItem, ...]
    units: tuple[str, ...]


def best_ways(
    groups: Sequence[Sequence[int]],
    travel: np.ndarray,
    *,
    ends: tuple[int, int],
    enter: Sequence[int],
    leave: Sequence[int],
    cost: Sequence[int],
) -> list[int]:
    """One way from each group, in order, with the least walking and cost together: exact, by
    dynamic programming. ``travel`` (P, P) and ``cost`` of a way in ms; ``ends`` start and finish.
    """
    best: dict[int, tuple[int, tuple[int, ...]]] = {-1: (0, ())}
    for group in groups:
        step = {}
        for way in group:
            step[way] = min(
                (
                    value
                    + int(travel[ends[0] if last < 0 else leave[last], enter[way]])
                    + int(cost[way]),
                    (*path, way),
                )
                for last, (value, path) in best.items()
            )
        best = step
    return list(
        min(
            (value + int(travel[ends[0] if last < 0 else leave[last], ends[1]]), path)
            for last, (value, path) in best.items()
        )[1]
    )


@dataclass(frozen=True, slots=True, eq=False)
class ReadyWalk:
    """An errand prepared once: stands, ways and walking times; `plan` is quick after that."""

    ready: Prepared
    team: Team
    seed: int

    def plan(self, units: Sequence[str]) -> RoundPlan:
        """The round that visits ``units`` in that order; what it cannot serve, and what is asked
        for at other units, is left out with its reason."""
        ways, member = self.team.ways, self.team.members[0]
        place = {unit: row for row, unit in enumerate(ways.units)}
        rows = [place[unit] for unit in units if unit in place]
        chosen = best_ways(
            [self._fullest(row) for row in rows],
            member.spans[0][1],
            ends=(member.start, member.finish),
            enter=ways.way_enter.tolist(),
            leave=ways.way_leave.tolist(),
            cost=ways.total_ms.tolist(),
        )
        halts = tuple(unit_halt(self.team, way) for way in chosen)
        route = Route(0, member.start, member.finish, member.start_ms, halts)
        schedule = timed(route, clock_of(self.team, 0))
        skipped = {unit: LATER for unit in ways.units if unit not in units}
        solved = Solved(self.ready, self.team, (schedule,), skipped, NO_BOUND, complete=True)
        return write_plan(solved, seed=self.seed)

    def _fullest(self, row: int) -> list[int]:
        """The ways of a unit that serve as much as any does."""
        ways = self.team.ways
        mine = [w for w, unit in enumerate(ways.way_unit.tolist()) if unit == row]
        loss = {w: ways.visits[ways.ways[w].visit].loss for w in mine}
        return [w for w in mine if loss[w] == min(loss.values())]


def ready_walk(site: Site, errand: Errand, *, seed: int = 1) -> ReadyWalk:
    """Prepare an errand. Raises UnknownName and PostureRefused as the round engine does."""
    request = RoundRequest(errand.at, errand.items, False, (errand.technician,), errand.finish_by)
    ready = prepare(site, request, progress=lambda _: None)
    return ReadyWalk(ready, build_team(ready), seed)
