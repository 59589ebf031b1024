"""Branch and bound over who visits what: the units of each kind, its cartridges, its store visits.

Every plan is in one of the branches still open, so what is proved for all of them is proved. A
branch shuts nodes (a unit is left to the other kinds) or limits the cartridges that a kind puts in
or its store visits; its bound is the same sum in whole numbers as at the root, over the arcs left.
"""

import heapq
from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from greaseroute.solvers.arrays import FAR, FloatArray, IntArray
from greaseroute.solvers.vrp.bag import Bags
from greaseroute.solvers.vrp.cutting_planes.capacity_cuts import Loads
from greaseroute.solvers.vrp.cutting_planes.giant_tour import Ring
from greaseroute.solvers.vrp.cutting_planes.relaxation import NO_END, Branch, Flow, RingProgram
from greaseroute.solvers.vrp.cutting_planes.safe_bound import Price, lacking, priced
from greaseroute.solvers.vrp.cutting_planes.subtour_cuts import find_needs

TRIED, TRIED_OF_BAGS = 2, 1  # splits that are solved before one is chosen
ROUNDS = 6  # of cutting at one branch, as long as its bound still moves
LEAST_GAIN = 0.04  # of what is missing, over one round
WHOLE = 1e-4
IDLE_NEEDS = 2.0  # times as many rows as nodes: idle ones are taken out


@dataclass(frozen=True, slots=True, eq=False)
class Split:
    """Two branches that hold all plans of one; how promising it looks before it is tried."""

    parts: tuple[Branch, Branch]
    promise: float


class Tree:
    """Weakest branch first; ``bound_ms`` is proved at any moment; from and up to ``ends_ms``."""

    def __init__(
        self,
        program: RingProgram,
        *,
        bags: Bags | None,
        loads: Loads | None,
        root: Branch,
        ends_ms: tuple[int, int],
    ) -> None:
        self._program, self._ring, self._bags = program, program.ring, bags
        self._loads = loads
        bound_ms, self._aim = ends_ms
        self._stuck = self._aim  # the least bound of branches that nothing splits any more
        self._count = 0
        self.solves = 0
        self.bound_ms = bound_ms
        self._open: list[tuple[int, int, Branch]] = []
        self._push(self.bound_ms, root)

    def run(self, over: Callable[[int], bool]) -> None:
        """Split the weakest branch until none is left or ``over(solves)``."""
        while self._open and not over(self.solves):
            bound, _, branch = self._open[0]
            below = self._explored(bound, branch)
            heapq.heappop(self._open)
            for least, part in below:
                self._push(least, part)
            least = self._open[0][0] if self._open else self._aim
            self.bound_ms = max(self.bound_ms, min(least, self._stuck, self._aim))

    def _push(self, bound: int, branch: Branch) -> None:
        if bound < self._aim:
            self._count += 1
            heapq.heappush(self._open, (bound, self._count, branch))

    def _explored(self, bound: int, branch: Branch) -> list[tuple[int, Branch]]:
        """Cut at this branch until it is shut or slow; the branches below it and their bounds."""
        last: Flow | None = None
        for _ in range(ROUNDS):
            flow = self._solved(branch)
            if flow is None:
                break
            last, before = flow, bound
            price = self._priced(flow, branch)
            bound = max(bound, price.last_finish_ms(self._ring))
            if bound >= self._aim:
                return []
            branch = replace(branch, shut=branch.shut | price.too_dear(self._ring, self._aim))
            more = self._add(flow, price)
            if not more or (more < 2 and bound - before < LEAST_GAIN * (self._aim - bound)):
                break
        splits = [] if last is None else self._splits(last, branch)
        if not splits:
            self._stuck = min(self._stuck, bound)
            return []
        return self._best(splits, bound)

    def _solved(self, branch: Branch) -> Flow | None:
        self._program.keep_to(branch)
        self.solves += 1
        return self._program.solve()

    def _priced(self, flow: Flow, branch: Branch) -> Price:
        return priced(self._ring, flow, self._program.needs, bags=self._bags, branch=branch)

    def _add(self, flow: Flow, price: Price) -> int:
        """Add rows and arcs that lack: 0 if there are none, 2 if arcs are among them, else 1."""
        program = self._program
        needs = find_needs(self._ring, flow, self._loads)
        tail, head = lacking(self._ring, price, flow, present=program.present)
        if len(program.needs) > IDLE_NEEDS * self._ring.cluster.size:
            idle = np.flatnonzero(flow.need < 1e-9)
            if idle.size:
                program.drop_needs(idle)
        if needs:
            program.add_needs(needs)
        if tail.size:
            program.add_arcs(tail, head)
        return 2 if tail.size else int(bool(needs))

    def _best(self, splits: list[Split], bound: int) -> list[tuple[int, Branch]]:
        """The split whose two parts are proved to be dearest, after one solve of each."""
        if len(splits) == 1:
            return [(bound, part) for part in splits[0].parts]
        best: tuple[float, list[tuple[int, Branch]]] | None = None
        for split in splits:
            found, score = [], 1.0
            for part in split.parts:
                flow = self._solved(part)
                least = bound
                if flow is not None:
                    price = self._priced(flow, part)
                    least = max(bound, price.last_finish_ms(self._ring))
                score *= min(least, self._aim) - bound + 1000
                found.append((least, part))
            if best is None or score > best[0]:
                best = score, found
        assert best is not None
        return best[1]

    def _splits(self, flow: Flow, branch: Branch) -> list[Split]:
        visit = np.zeros(self._ring.cluster.size)
        np.add.at(visit, flow.tail, flow.value)
        if self._bags is not None and branch.together[1] - branch.together[0] == NO_END:
            return [_any_visit(branch)]
        splits = _most_promising(_by_unit(self._ring, visit, branch), TRIED)
        if self._bags is not None:
            of_bags = _by_visits(self._ring, visit, branch)
            of_bags += _by_cartridges(flow.put_in, branch)
            splits += _most_promising(of_bags, TRIED_OF_BAGS)
        return splits


def _most_promising(splits: list[Split], count: int) -> list[Split]:
    return sorted(splits, key=lambda split: -split.promise)[:count]


def _by_unit(ring: Ring, visit: FloatArray, branch: Branch) -> list[Split]:
    """A unit to one kind, or to the others; promising where much work is shared out evenly."""
    work = np.where(ring.allowed, ring.cost, FAR).min(axis=0)
    even = np.minimum(visit, 1.0 - visit)[: ring.unit_nodes]
    splits = []
    for first, last in zip(ring.first[: ring.units], ring.first[1:], strict=False):
        node = int(first + even[first:last].argmax())
        if even[node] > WHOLE and last - first > 1:
            one, same = np.arange(visit.size) == node, ring.cluster == ring.cluster[node]
            others = replace(branch, shut=branch.shut | one)
            mine = replace(branch, shut=branch.shut | (same & ~one))
            splits.append(Split((others, mine), float(even[node] * abs(work[node]))))
    return splits


def _any_visit(branch: Branch) -> Split:
    """No store visit at all, or some."""
    none, some = np.array([0, 0]), np.array([1, NO_END])
    return Split((replace(branch, together=none), replace(branch, together=some)), 0.0)


def _by_visits(ring: Ring, visit: FloatArray, branch: Branch) -> list[Split]:
    """A kind's store visits: few, or more than that."""
    splits = []
    for kind in range(ring.crew.size):
        made = float(visit[ring.store & (ring.kind == kind)].sum())
        split = _split_range(made, branch.visits[:, kind])
        if split is not None:
            parts = [branch.visits.copy(), branch.visits.copy()]
            parts[0][1, kind], parts[1][0, kind] = split
            few, more = (replace(branch, visits=part) for part in parts)
            splits.append(Split((few, more), 1.0 + made % 1.0))
    return splits


def _by_cartridges(put_in: FloatArray, branch: Branch) -> list[Split]:
    """The cartridges of one gun kind that a kind of technician puts in: few, or more."""
    splits = []
    shape = branch.put_in.shape[1:]
    for cell, number in enumerate(put_in):
        kind, gun = divmod(cell, shape[1])
        split = _split_range(float(number), branch.put_in[:, kind, gun])
        if split is not None:
            parts = [branch.put_in.copy(), branch.put_in.copy()]
            parts[0][1, kind, gun], parts[1][0, kind, gun] = split
            few, more = (replace(branch, put_in=part) for part in parts)
            splits.append(Split((few, more), float(number % 1.0)))
    return splits


def _split_range(value: float, ends: IntArray) -> tuple[int, int] | None:
    """The whole numbers below and above, where the value is not whole and both are in range."""
    below = int(np.floor(value + WHOLE))
    if abs(value - round(value)) <= WHOLE or not ends[0] <= below < min(ends[1], NO_END):
        return None
    return below, below + 1
