"""A proved lower bound on the last finish: the crew's time for the same visits, shared out.

Whoever visits what, the last one finishes no earlier than any weighted mean of the times that the
technicians take, and those together visit every unit at the service level of the plan. Waits and
bags are left out of the relaxation but for single legs that no window lets anyone walk; one unit's
own window gives a second bound.
"""

import time
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from greaseroute.rounds.crew_arrays import FAR_MS, usable_way_ms, way_windows
from greaseroute.rounds.crew_bound_lp import (
    Floats,
    Price,
    Ring,
    RingProgram,
    first_arcs,
    lacking,
    priced,
)
from greaseroute.rounds.crew_cuts import Loads, find_needs
from greaseroute.rounds.crew_ring import least_walk, ring_of
from greaseroute.rounds.problem import CrewBound, CrewProblem, CrewSolution, IntArray

MOST_NODES = 4000  # above, the square of ways is not priced again and again
LESSONS = 6  # sets of multipliers that loads are told by
IDLE = 8  # rounds after which a row that does not matter is taken out
TOGETHER = (
    "last finish, for the same visits: no way of sharing them out ends sooner, by a linear program "
    "over who takes which way in and out with sub-tour and load cuts; waits and bags relaxed"
)
ALONE = "last finish, for the same visits: one unit's window and the walk home from it"


def bound_of(
    problem: CrewProblem, solution: CrewSolution, *, rounds: int, limit_s: float | None = None
) -> CrewBound:
    """The better of two bounds on the last finish; the gap is over the route-dependent part.

    That part is the crew's time up to the last finish (all technicians together) less the fixed
    time of the visits of this plan, which no route changes.
    """
    takes_part = [r.technician for r in solution.rounds if not r.reason]
    value = solution.last_finish_ms + problem.change_cost_ms * solution.changes
    visited = sorted(v.way for r in solution.rounds for v in r.visits if v.kind == "unit")
    if not takes_part:
        return CrewBound(0, value, None, "nobody takes part")
    if not visited:
        return CrewBound(value, value, 0.0, "no unit is visited: every walk is the shortest")
    crew = _Crew(problem, np.array(takes_part), _ways_like(problem, visited), solution)
    together = crew.shared_out(_until(rounds, limit_s))
    alone = crew.least_single()
    lower = min(value, max(together, alone))
    part = len(takes_part) * value - int(problem.start_ms[takes_part].sum()) - crew.fixed_ms()
    gap = 100.0 * len(takes_part) * (value - lower) / max(1, part)
    return CrewBound(lower, value, gap, TOGETHER if together >= alone else ALONE)


def _ways_like(problem: CrewProblem, visited: list[int]) -> IntArray:
    """All ways of the units visited that leave no more undone than the plan does there."""
    loss = np.full(problem.units, -1, dtype=np.int64)
    loss[problem.way_unit[visited]] = problem.way_loss[visited]
    ways = np.flatnonzero(problem.way_loss <= loss[problem.way_unit])
    ways = ways[(usable_way_ms(problem)[:, ways] >= 0).any(axis=0)]
    return ways[np.argsort(problem.way_unit[ways], kind="stable")]


@dataclass(frozen=True, slots=True, eq=False)
class _Crew:
    """One plan to be judged: the technicians who take part, the ways of the units visited."""

    problem: CrewProblem
    who: IntArray
    ways: IntArray
    solution: CrewSolution

    def fixed_ms(self) -> int:
        """The fixed time of the visits of the plan."""
        fixed = self.problem.way_fixed_ms
        if fixed is None:
            return 0
        return sum(
            int(fixed[r.technician, v.way])
            for r in self.solution.rounds
            for v in r.visits
            if v.kind == "unit"
        )

    def _first(self) -> IntArray:
        return np.flatnonzero(np.diff(self.problem.way_unit[self.ways], prepend=-1))

    def least_single(self) -> int:
        """The last finish is not before that of the unit whose own visit ends latest."""
        ends = self._leaving() + self._home().min(axis=0)
        by_unit = np.minimum.reduceat(ends, self._first())
        idle = [int(self.problem.start_ms[t]) for t in self.who]
        return max(int(by_unit.max()), *idle)

    def _leaving(self) -> IntArray:
        """Earliest anyone can leave each way if it comes first."""
        p, window = self.problem, way_windows(self.problem)[self.ways]
        found = np.full(self.ways.size, FAR_MS, dtype=np.int64)
        for t in self.who:
            spent = usable_way_ms(p)[t, self.ways]
            arrive = p.start_ms[t] + least_walk(p, int(t))[p.start_point[t], p.way_enter[self.ways]]
            leave = np.maximum(arrive, window[:, 0]) + spent
            found = np.where(spent < 0, found, np.minimum(found, leave))
        return found

    def _home(self) -> IntArray:
        """(who, ways): walking time to the finish."""
        p = self.problem
        return np.stack(
            [least_walk(p, int(t))[p.way_leave[self.ways], p.finish_point[t]] for t in self.who]
        )

    def _room(self) -> IntArray:
        """The time each technician has in a plan that ends before the one at hand."""
        p = self.problem
        last = np.minimum(p.end_ms[self.who], self.solution.last_finish_ms - 1)
        return np.maximum(0, last - p.start_ms[self.who])

    def shared_out(self, over: Callable[[int], bool]) -> int:
        """No plan has a last finish below this or the one at hand."""
        ring, nodes = ring_of(self.problem, self.who, self.ways)
        order = [int(t) for t in nodes.technician]
        search = _Together(ring, self._room()[[list(self.who).index(t) for t in order]])
        walk: list[int] = []
        for i, t in enumerate(order):
            walk.append(nodes.way.size + i)
            visits = self.solution.rounds[t].visits
            walk.extend(nodes.of(v.way, i) for v in visits if v.kind == "unit")
        return search.least(walk, worth=self.solution.last_finish_ms, over=over)


class _Together:
    """Cutting and pricing: sub-tours first, then loads told by the multipliers found so far."""

    def __init__(self, ring: Ring, room_ms: IntArray) -> None:
        self._ring = ring
        self._loads = Loads(ring, room_ms)
        self._learned: list[int] = []
        k = ring.depots
        if k > 1 and self._loads.needs(np.ones(ring.clusters - k, dtype=bool)) >= k:
            ring.allowed[-k:, -k:] = False  # nobody can be spared
        self._best = 0
        self._idle: dict[int, int] = {}

    def least(self, walk: list[int], *, worth: int, over: Callable[[int], bool]) -> int:
        """Bound on the last finish; ends when tight, dry, or out of time."""
        if self._ring.cluster.size > MOST_NODES:
            return self._cheapest_arcs()
        program, rounds = RingProgram(self._ring), 0
        program.add_arcs(*first_arcs(self._ring, walk))
        while self._best < worth and not over(rounds) and self._round(program):
            rounds += 1
        return self._best

    def _round(self, program: RingProgram) -> bool:
        """One solve, its price, new rows and columns; false if there is nothing to add."""
        flow = program.solve()
        if flow is None:
            return False
        needs = find_needs(self._ring, flow, self._loads)
        price = priced(self._ring, flow, program.needs)
        self._best = max(self._best, price.last_finish_ms(self._ring))
        tail, head = lacking(self._ring, price.reduced, program.present)
        if not needs and not tail.size:
            return self._weigh(price)
        self._drop_idle(program, flow.need)
        program.add_needs(needs)
        program.add_arcs(tail, head)
        return True

    def _cheapest_arcs(self) -> int:
        """The mean finish if every cluster were left, or entered, by its cheapest arc."""
        cost = np.where(self._ring.allowed, self._ring.cost, FAR_MS)
        out = int(np.minimum.reduceat(cost.min(axis=1), self._ring.first).sum())
        into = int(np.minimum.reduceat(cost.min(axis=0), self._ring.first).sum())
        together = max(out, into) + int(self._ring.start_ms.sum())
        return -(-together // self._ring.depots)

    def _weigh(self, price: Price) -> bool:
        """When nothing is left to cut: what is proved tells loads better; false if no better."""
        if self._ring.depots == 1 or price.total in self._learned or len(self._learned) >= LESSONS:
            return False
        self._learned.append(price.total)
        self._loads.learn(price)
        return True

    def _drop_idle(self, program: RingProgram, multiplier: Floats) -> None:
        """Take out rows whose multiplier has been zero for some rounds."""
        old = []
        for k, need in enumerate(program.needs):
            waited = 0 if multiplier[k] > 1e-9 else self._idle.get(id(need), 0) + 1
            self._idle[id(need)] = waited
            if waited > IDLE:
                old.append(k)
        if old:
            program.drop_needs(np.array(old, dtype=np.int64))


def _until(rounds: int, limit_s: float | None) -> Callable[[int], bool]:
    """A stop by rounds (same input, same bound), and by the clock where a limit is given."""
    if limit_s is None:
        return lambda done: done >= rounds
    end = time.monotonic() + limit_s
    return lambda done: done >= rounds or time.monotonic() >= end
