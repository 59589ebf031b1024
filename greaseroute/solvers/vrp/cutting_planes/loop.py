"""Cutting-plane loop of the crew's bound: separate sub-tour and capacity cuts, price, then branch.

solve -> prove -> new cuts, new arcs -> solve ...      now and then potentials are set anew, and
                                                       duals give loads for capacity cuts
dry   -> branch and bound over who visits what
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from greaseroute.solvers.arrays import FloatArray, IntArray
from greaseroute.solvers.vrp.cutting_planes.bags import Bags, bags_of
from greaseroute.solvers.vrp.cutting_planes.branch_and_bound import BranchAndBound
from greaseroute.solvers.vrp.cutting_planes.capacity_cuts import CapacityCuts
from greaseroute.solvers.vrp.cutting_planes.giant_tour import (
    TechnicianType,
    better_potentials,
    giant_tour_of,
    sets_of_units,
)
from greaseroute.solvers.vrp.cutting_planes.relaxation import (
    CrewMaster,
    Flow,
    SetCut,
    every_plan,
    first_arcs,
)
from greaseroute.solvers.vrp.cutting_planes.safe_bound import PricedBound, priced, violated_columns
from greaseroute.solvers.vrp.cutting_planes.subtour_cuts import find_cuts
from greaseroute.solvers.vrp.problem import CrewProblem

IDLE = 4  # rounds after which a cut without a dual is taken out
BALANCED_AFTER = (4, 8, 12)  # rounds after which potentials are set anew
LOADED_AFTER = (14, 20, 30)  # rounds after which duals give loads
MOST_LOADS = 6  # sets of duals that give loads
SHORT = 0.3  # of what is missing at first: the aim falls short by it, so that loads weigh more


@dataclass(frozen=True, slots=True, eq=False)
class JudgedPlan:
    """The plan to be judged.

    Attributes
    ----------
    problem : CrewProblem
    time_ms : dict
        Time of each technician who takes part, in a plan that ends before this one.
    orders : (T,) sequences of int
        Units and stores (after the units) in the order of each round.
    upper_ms : int
        Its last finish.
    """

    problem: CrewProblem
    time_ms: dict[int, int]
    orders: Sequence[Sequence[int]]
    upper_ms: int


class CuttingPlanes:
    """A bound on the last finish, raised round by round and good at any moment.

    Capacity cuts hold for plans that end before an aim, which falls short of the plan at hand at
    first: then no more than the aim is proved. Where it is reached, all is done again up to the
    plan.
    """

    def __init__(self, judged: JudgedPlan, types: list[TechnicianType], *, stores: bool) -> None:
        self._judged, self._types = judged, types
        self._tour = giant_tour_of(judged.problem, types)
        self._bags: Bags | None = bags_of(judged.problem, types, self._tour) if stores else None
        self._every = every_plan(self._tour, self._bags)
        self._aim, self._best, self._rounds = judged.upper_ms, 0, 0
        self._final = False  # whether the aim is the plan at hand for good
        self._loaded: list[int] = []  # totals of the duals that gave loads
        self._idle: dict[SetCut, int] = {}
        self._capacity: CapacityCuts | None = None
        # Nested sets of near units as first cuts: they save some rounds of separation.
        self._program = self._new_program()
        self._program.add_cuts([SetCut(inside, 1) for inside in sets_of_units(self._tour, types)])

    def _new_program(self) -> CrewMaster:
        program = CrewMaster(self._tour, self._bags, upper_ms=self._judged.upper_ms)
        program.add_arcs(*first_arcs(self._tour, self._walk()))
        return program

    def _walk(self) -> list[int]:
        """The nodes of the plan at hand, in the order of the giant tour."""
        walk: list[int] = []
        for one in self._types:
            row = dict(zip(one.points.unit.tolist(), one.node.tolist(), strict=True))
            for t, depot in zip(one.points.technician, one.depot, strict=True):
                walk += [int(depot), *(row[u] for u in self._judged.orders[t] if u in row)]
        return walk

    def least(self, over: Callable[[int], bool]) -> int:
        """Bound on the last finish; ends when tight, dry, or when ``over(rounds)``."""
        self._cut_and_branch(over)
        if self._best >= self._aim < self._judged.upper_ms:
            self._aim_at_the_plan()
            self._cut_and_branch(over)
        return self._best

    def _cut_and_branch(self, over: Callable[[int], bool]) -> None:
        # Cutting planes until the aim is reached, or nothing is violated.
        while self._best < self._aim and not over(self._rounds) and self._round():
            pass
        splits = self._tour.crew.size > 1 or self._bags is not None
        if not splits or self._best >= self._aim or over(self._rounds):
            return
        # Then branches: only where there is something to decide between types or bags.
        branches = BranchAndBound(
            self._program, self._capacity, self._every, bound_ms=self._best, aim_ms=self._aim
        )
        branches.run(lambda solves: over(self._rounds + solves))
        self._rounds += branches.solves
        self._best = max(self._best, branches.bound_ms)

    def _aim_at_the_plan(self) -> None:
        """Aim at the plan at hand; cuts that hold only for plans before the old aim go."""
        self._aim, self._capacity, self._loaded = self._judged.upper_ms, None, []
        self._final = True
        old = [k for k, cut in enumerate(self._program.cuts) if cut.assumed]
        self._program.drop_cuts(np.array(old, dtype=np.int64))
        self._program.keep_to(self._every)

    def _round(self) -> bool:
        """One solve, its price, new cuts and arcs; false if there is nothing to add."""
        # Solve, and prove what the duals are worth.
        program = self._program
        flow = program.solve()
        self._rounds += 1
        if flow is None:
            return False
        price = priced(self._tour, flow, program.cuts, bags=self._bags, branch=self._every)
        self._best = min(self._aim, max(self._best, price.last_finish_ms(self._tour)))
        # Now and then capacity cuts get new loads, or potentials are set anew.
        if self._rounds in LOADED_AFTER:
            self._add_load(flow)
        cuts = find_cuts(self._tour, flow, self._capacity)
        if self._rounds in BALANCED_AFTER:
            self._balance(price, cuts)
            return True
        tail, head = violated_columns(self._tour, price, flow, present=program.present)
        if not cuts and not tail.size:
            return self._add_load(flow)
        # What is violated goes in, what is idle goes out.
        self._drop_idle_cuts(flow.cut)
        program.add_cuts(cuts)
        program.add_arcs(tail, head)
        return True

    def _balance(self, price: PricedBound, cuts: list[SetCut]) -> None:
        """Set potentials anew after the duals, and go on with the cuts there are."""
        order = [u for row in self._judged.orders for u in row]
        # Per type, in ms: how far each arc lies above the best out of its cluster.
        above = price.reduced - price.least[self._tour.cluster][:, None]
        self._types = [
            better_potentials(self._tour, one, above / price.weight[k], order=order)
            if price.weight[k] > 0
            else one
            for k, one in enumerate(self._types)
        ]
        # Costs have changed: a new program with the same cuts.
        cuts = [*self._program.cuts, *cuts]
        self._tour = giant_tour_of(self._judged.problem, self._types)
        self._program = self._new_program()
        self._program.add_cuts(cuts)

    def _add_load(self, flow: Flow) -> bool:
        """Give the duals to the capacity cuts; false if they gave a load before, or give none."""
        if self._tour.depots == 1 or len(self._loaded) >= MOST_LOADS:
            return False
        # Without bags: a load is about times alone.
        price = priced(self._tour, flow, self._program.cuts)
        if price.total in self._loaded:
            return False
        if self._capacity is None:
            self._capacity = CapacityCuts(self._time_before_aim())
        self._loaded.append(price.total)
        self._capacity.add(self._tour, price)
        return True

    def _time_before_aim(self) -> IntArray:
        """The time each technician has in a plan that ends before the aim, which is set first."""
        upper = self._judged.upper_ms
        if not self._final:
            self._aim = upper - int(SHORT * (upper - self._best))
        # In the order of the giant tour, which is that of the types.
        crew = np.concatenate([one.points.technician for one in self._types])
        time = np.array([self._judged.time_ms[int(t)] for t in crew], dtype=np.int64)
        return np.maximum(0, time - (upper - self._aim))

    def _drop_idle_cuts(self, dual: FloatArray) -> None:
        """Take out cuts whose dual has been zero for some rounds."""
        waited = {
            cut: 0 if dual[k] > 1e-9 else self._idle.get(cut, 0) + 1
            for k, cut in enumerate(self._program.cuts)
        }
        old = [k for k, cut in enumerate(self._program.cuts) if waited[cut] > IDLE]
        self._idle = waited
        self._program.drop_cuts(np.array(old, dtype=np.int64))
