"""A walk in a given order of machines, planned by the round engine's own parts."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

import numpy as np

from greaseroute.due.worklist import DueItem
from greaseroute.rounds.plan import Bound, RoundPlan
from greaseroute.rounds.prepare import Wish, prepare
from greaseroute.rounds.schedule import Clockwork, Halt, Route, timed
from greaseroute.rounds.solve import Solved, build_team
from greaseroute.rounds.write_plan import write_plan
from greaseroute.site.model import Site

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


def plan_in_order(site: Site, errand: Errand, *, seed: int = 1) -> RoundPlan:
    """The round that visits ``errand.units`` in that order; what cannot be served is left out with
    its reason. Raises UnknownName and PostureRefused as the round engine does."""
    wish = Wish(errand.at, errand.items, False, (errand.technician,), errand.finish_by)
    ready = prepare(site, wish, progress=lambda _: None)
    team = build_team(ready)
    member, ways = team.members[0], team.ways
    way_unit = ways.way_unit.tolist()
    place = {unit: row for row, unit in enumerate(ways.units)}
    groups = [
        [w for w, row in enumerate(way_unit) if row == place[unit]]
        for unit in errand.units
        if unit in place
    ]
    chosen = best_ways(
        groups,
        member.spans[0][1],
        ends=(member.start, member.finish),
        enter=ways.way_enter.tolist(),
        leave=ways.way_leave.tolist(),
        cost=ways.total_ms.tolist(),
    )
    halts = tuple(
        Halt(way, not_before_ms=team.windows[ways.units[way_unit[way]]][0]) for way in chosen
    )
    route = Route(0, member.start, member.finish, member.start_ms, halts)
    schedule = timed(route, Clockwork(site, ways, member.spans))
    solved = Solved(team, (schedule,), {}, NO_BOUND, complete=True)
    return write_plan(ready, solved, seed=seed)
