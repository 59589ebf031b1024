"""Branch and bound over who visits what: the units of each type, its cartridges, its store visits.

Every plan is in one of the branches still open, so what is proved for all of them is proved. A
branch shuts nodes (a unit is left to the other types) or limits the cartridges that a type puts in
or its store visits; its bound is the same sum in whole numbers as at the root, over the arcs left.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from greaseroute.solvers.arrays import FAR, FloatArray, IntArray
from greaseroute.solvers.best_first import BestFirst
from greaseroute.solvers.vrp.cutting_planes.capacity_cuts import CapacityCuts
from greaseroute.solvers.vrp.cutting_planes.giant_tour import GiantTour
from greaseroute.solvers.vrp.cutting_planes.relaxation import (
    NO_END,
    CrewMaster,
    Flow,
    PlanBranch,
)
from greaseroute.solvers.vrp.cutting_planes.safe_bound import PricedBound, priced, violated_columns
from greaseroute.solvers.vrp.cutting_planes.subtour_cuts import find_cuts

TRIED, TRIED_OF_BAGS = 2, 1  # splits that are solved before one is chosen
ROUNDS = 6  # of cutting at one branch, as long as its bound still moves
LEAST_GAIN = 0.04  # of what is missing, over one round
WHOLE = 1e-4  # a value this close to a whole number is taken for one
MOST_CUTS = 2.0  # times as many cuts as nodes: above, idle ones are taken out

Bounded = tuple[int, PlanBranch]  # a branch with its proved bound


@dataclass(frozen=True, slots=True, eq=False)
class Split:
    """Two branches that hold all plans of one; how promising it looks before it is tried."""

    parts: tuple[PlanBranch, PlanBranch]
    promise: float


class BranchAndBound:
    """Weakest branch first; ``bound_ms`` is proved at any moment.

    Parameters
    ----------
    program : CrewMaster
        As the cutting planes left it.
    capacity : CapacityCuts or None
        Looked for as well where given.
    root : PlanBranch
    bound_ms, aim_ms : int
        Proved at the root; what the bound is raised to at most.
    """

    def __init__(
        self,
        program: CrewMaster,
        capacity: CapacityCuts | None,
        root: PlanBranch,
        *,
        bound_ms: int,
        aim_ms: int,
    ) -> None:
        self._program, self._tour, self._bags = program, program.tour, program.bags
        self._capacity, self._aim = capacity, aim_ms
        self._branches = BestFirst(root, value=bound_ms, upper=aim_ms)
        self.solves = 0

    @property
    def bound_ms(self) -> int:
        """The proved bound on the last finish, at most the aim."""
        return self._branches.value

    def run(self, over: Callable[[int], bool]) -> None:
        """Split the weakest branch until none is left or ``over(solves)``."""
        self._branches.run(self._explored, lambda: over(self.solves))

    def _explored(self, bound: int, branch: PlanBranch) -> list[Bounded]:
        """Cut at this branch until it is closed or slow; the branches below it and their bounds."""
        last: Flow | None = None
        for _ in range(ROUNDS):
            flow = self._solved(branch)
            if flow is None:
                break
            # The bound over this branch's plans; nodes too costly for it are shut below.
            last, before = flow, bound
            price = self._priced(flow, branch)
            bound = max(bound, price.last_finish_ms(self._tour))
            if bound >= self._aim:
                return []
            branch = replace(branch, shut=branch.shut | price.too_costly(self._tour, self._aim))
            more = self._add(flow, price)
            if not more or (more < 2 and bound - before < LEAST_GAIN * (self._aim - bound)):
                break
        splits = [] if last is None else self._splits(last, branch)
        if not splits:
            self._branches.abandon(bound)
            return []
        return self._best(splits, bound)

    def _solved(self, branch: PlanBranch) -> Flow | None:
        self._program.keep_to(branch)
        self.solves += 1
        return self._program.solve()

    def _priced(self, flow: Flow, branch: PlanBranch) -> PricedBound:
        return priced(self._tour, flow, self._program.cuts, bags=self._bags, branch=branch)

    def _add(self, flow: Flow, price: PricedBound) -> int:
        """Add violated cuts and arcs: 0 if there are none, 2 if arcs are among them, else 1."""
        program = self._program
        # Both before anything changes: they are read off the present optimum.
        cuts = find_cuts(self._tour, flow, self._capacity)
        tail, head = violated_columns(self._tour, price, flow, present=program.present)
        if len(program.cuts) > MOST_CUTS * self._tour.cluster.size:
            idle = np.flatnonzero(flow.cut <= 1e-9)
            if idle.size:
                program.drop_cuts(idle)
        program.add_cuts(cuts)
        program.add_arcs(tail, head)
        return 2 if tail.size else int(bool(cuts))

    def _best(self, splits: list[Split], bound: int) -> list[Bounded]:
        """The split whose two parts are proved to be costliest, after one solve of each."""
        if len(splits) == 1:
            return [(bound, part) for part in splits[0].parts]
        # Strong branching: each part is solved once, and the product of the gains decides.
        tried = [[(self._tried(part, bound), part) for part in split.parts] for split in splits]
        return max(tried, key=lambda parts: np.prod([least - bound + 1000 for least, _ in parts]))

    def _tried(self, part: PlanBranch, bound: int) -> int:
        """The bound of a branch after one solve, at most the aim."""
        flow = self._solved(part)
        if flow is None:
            return bound
        least = self._priced(flow, part).last_finish_ms(self._tour)
        return min(self._aim, max(bound, least))

    def _splits(self, flow: Flow, branch: PlanBranch) -> list[Split]:
        visits = flow.visits_of(self._tour.cluster.size)
        # Whether stores are visited at all comes first: it moves the bound most.
        if self._bags is not None and branch.total[1] - branch.total[0] == NO_END:
            return [_any_visit(branch)]
        splits = _most_promising(_by_unit(self._tour, visits, branch), TRIED)
        if self._bags is not None:
            of_bags = _by_visits(self._tour, visits, branch)
            of_bags += _by_cartridges(flow.put_in, branch)
            splits += _most_promising(of_bags, TRIED_OF_BAGS)
        return splits


def _most_promising(splits: list[Split], count: int) -> list[Split]:
    return sorted(splits, key=lambda split: -split.promise)[:count]


def _by_unit(tour: GiantTour, visits: FloatArray, branch: PlanBranch) -> list[Split]:
    """A unit to one type, or to the others; promising where much work is parted evenly."""
    # Units with two types that each visit about half of them.
    work = np.where(tour.allowed, tour.cost, FAR).min(axis=0)
    even = np.minimum(visits, 1.0 - visits)[: tour.unit_nodes]
    splits = []
    for first, last in zip(tour.first[: tour.units], tour.first[1:], strict=False):
        node = int(first + even[first:last].argmax())
        if even[node] > WHOLE and last - first > 1:
            one, same = np.arange(visits.size) == node, tour.cluster == tour.cluster[node]
            others = replace(branch, shut=branch.shut | one)
            mine = replace(branch, shut=branch.shut | (same & ~one))
            splits.append(Split((others, mine), float(even[node] * abs(work[node]))))
    return splits


def _any_visit(branch: PlanBranch) -> Split:
    """No store visit at all, or some."""
    none, some = np.array([0, 0]), np.array([1, NO_END])
    return Split((replace(branch, total=none), replace(branch, total=some)), 0.0)


def _by_visits(tour: GiantTour, visits: FloatArray, branch: PlanBranch) -> list[Split]:
    """A type's store visits: few, or more than that."""
    splits = []
    for kind in range(tour.crew.size):
        # A type that makes two and a half visits makes at most two, or at least three.
        made = float(visits[tour.store & (tour.type_of == kind)].sum())
        ranges = _split_range(made, branch.visits, (kind,))
        if ranges is not None:
            few, more = (replace(branch, visits=part) for part in ranges)
            splits.append(Split((few, more), 1.0 + made % 1.0))
    return splits


def _by_cartridges(put_in: FloatArray, branch: PlanBranch) -> list[Split]:
    """The cartridges of one gun kind that a type puts in: few, or more."""
    splits = []
    for cell, number in enumerate(put_in.tolist()):
        # Cells are numbered type by type, gun kind by gun kind.
        at = divmod(cell, branch.put_in.shape[2])
        ranges = _split_range(number, branch.put_in, at)
        if ranges is not None:
            few, more = (replace(branch, put_in=part) for part in ranges)
            splits.append(Split((few, more), number % 1.0))
    return splits


def _split_range(
    value: float, ranges: IntArray, at: tuple[int, ...]
) -> tuple[IntArray, IntArray] | None:
    """Ranges (2, ...) with one of them ending below the value, and beginning above it.

    None if the value is whole or its neighbours are out of the range.
    """
    # A value that is nearly whole is taken for whole.
    below = int(np.floor(value + WHOLE))
    least, most = int(ranges[(0, *at)]), int(ranges[(1, *at)])
    if abs(value - round(value)) <= WHOLE or not least <= below < min(most, NO_END):
        return None
    # Up to the number below, or from the one above it.
    few, more = ranges.copy(), ranges.copy()
    few[(1, *at)], more[(0, *at)] = below, below + 1
    return few, more
