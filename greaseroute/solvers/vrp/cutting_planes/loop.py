"""Cutting and pricing of the crew's bound: sub-tours, loads told by the multipliers, a tree."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from greaseroute.solvers.arrays import FloatArray, IntArray
from greaseroute.solvers.vrp.bag import Bags, bags_of
from greaseroute.solvers.vrp.cutting_planes.branch_and_bound import Tree
from greaseroute.solvers.vrp.cutting_planes.capacity_cuts import Loads
from greaseroute.solvers.vrp.cutting_planes.giant_tour import (
    Kind,
    better_potentials,
    nested_sets,
    ring_of,
)
from greaseroute.solvers.vrp.cutting_planes.relaxation import (
    Flow,
    Need,
    RingProgram,
    every_plan,
    first_arcs,
)
from greaseroute.solvers.vrp.cutting_planes.safe_bound import Price, lacking, priced
from greaseroute.solvers.vrp.cutting_planes.subtour_cuts import find_needs
from greaseroute.solvers.vrp.problem import CrewProblem

IDLE = 4  # rounds after which a row that does not matter is taken out
SETTLED_AFTER = (4, 8, 12)  # rounds after which potentials are set anew
LEARNED_AFTER = (14, 20, 30)  # rounds after which multipliers tell loads
LESSONS = 6  # sets of multipliers that loads are told by
SHORT = 0.3  # of what is missing at first, let go so that loads weigh more


@dataclass(frozen=True, slots=True, eq=False)
class Judged:
    """The plan to be judged: time of each who takes part, units in order, last finish."""

    problem: CrewProblem
    room_ms: dict[int, int]
    orders: Sequence[Sequence[int]]
    worth_ms: int


class Cutting:
    """A bound on the last finish, raised round by round and good at any moment.

    Loads are told for plans that end before an aim, which falls short of the plan at hand at first:
    then no more than the aim is proved. Where it is reached, all is done again up to the plan.
    """

    def __init__(self, judged: Judged, kinds: list[Kind], *, stores: bool) -> None:
        self._judged, self._kinds = judged, kinds
        self._ring = ring_of(judged.problem, kinds)
        self._bags: Bags | None = bags_of(judged.problem, kinds, self._ring) if stores else None
        self._every = every_plan(self._ring, self._bags)
        self._aim, self._best, self._rounds = judged.worth_ms, 0, 0
        self._full = False  # whether the aim is the plan at hand for good
        self._learned: list[int] = []
        self._idle: dict[Need, int] = {}
        self._loads: Loads | None = None
        self._program = self._new_program()
        self._program.add_needs([Need(inside, 1) for inside in nested_sets(self._ring, kinds)])

    def _new_program(self) -> RingProgram:
        program = RingProgram(self._ring, self._bags, worth_ms=self._judged.worth_ms)
        program.add_arcs(*first_arcs(self._ring, self._walk()))
        return program

    def _walk(self) -> list[int]:
        """The nodes of the plan at hand, in the order of the ring."""
        walk: list[int] = []
        for kind in self._kinds:
            row = dict(zip(kind.points.unit.tolist(), kind.node.tolist(), strict=True))
            for t, depot in zip(kind.points.technician, kind.depot, strict=True):
                walk += [int(depot), *(row[u] for u in self._judged.orders[t] if u in row)]
        return walk

    def least(self, over: Callable[[int], bool]) -> int:
        """Bound on the last finish; ends when tight, dry, or when ``over(rounds)``."""
        self._cut_and_branch(over)
        if self._best >= self._aim < self._judged.worth_ms:
            self._to_the_full()
            self._cut_and_branch(over)
        return self._best

    def _cut_and_branch(self, over: Callable[[int], bool]) -> None:
        while self._best < self._aim and not over(self._rounds) and self._round():
            pass
        splits = self._ring.crew.size > 1 or self._bags is not None
        if not splits or self._best >= self._aim or over(self._rounds):
            return
        tree = Tree(
            self._program,
            bags=self._bags,
            loads=self._loads,
            root=self._every,
            ends_ms=(self._best, self._aim),
        )
        tree.run(lambda solves: over(self._rounds + solves))
        self._rounds += tree.solves
        self._best = max(self._best, tree.bound_ms)

    def _to_the_full(self) -> None:
        """Aim at the plan at hand; rows that hold only for plans before the old aim go."""
        self._aim, self._loads, self._learned = self._judged.worth_ms, None, []
        self._full = True
        old = [k for k, need in enumerate(self._program.needs) if need.assumed]
        if old:
            self._program.drop_needs(np.array(old, dtype=np.int64))
        self._program.keep_to(self._every)

    def _round(self) -> bool:
        """One solve, its price, new rows and columns; false if there is nothing to add."""
        program = self._program
        flow = program.solve()
        self._rounds += 1
        if flow is None:
            return False
        price = priced(self._ring, flow, program.needs, bags=self._bags, branch=self._every)
        self._best = min(self._aim, max(self._best, price.last_finish_ms(self._ring)))
        if self._rounds in LEARNED_AFTER:
            self._learn(flow)
        needs = find_needs(self._ring, flow, self._loads)
        if self._rounds in SETTLED_AFTER:
            self._settle(price, needs)
            return True
        tail, head = lacking(self._ring, price, flow, present=program.present)
        if not needs and not tail.size:
            return self._learn(flow)
        self._drop_idle(flow.need)
        program.add_needs(needs)
        program.add_arcs(tail, head)
        return True

    def _settle(self, price: Price, needs: list[Need]) -> None:
        """Set potentials anew after the multipliers, and go on with the rows there are."""
        order = [u for row in self._judged.orders for u in row]
        dearer = price.reduced - price.least[self._ring.cluster][:, None]
        self._kinds = [
            better_potentials(self._ring, kind, dearer / price.kind[k], order=order)
            if price.kind[k] > 0
            else kind
            for k, kind in enumerate(self._kinds)
        ]
        rows = [*self._program.needs, *needs]
        self._ring = ring_of(self._judged.problem, self._kinds)
        self._program = self._new_program()
        self._program.add_needs(rows)

    def _learn(self, flow: Flow) -> bool:
        """What is proved so far tells loads; false if it told them before, or tells nothing."""
        if self._ring.depots == 1 or len(self._learned) >= LESSONS:
            return False
        price = priced(self._ring, flow, self._program.needs)
        if price.total in self._learned:
            return False
        if self._loads is None:
            self._loads = Loads(self._room_before_aim())
        self._learned.append(price.total)
        self._loads.learn(self._ring, price)
        return True

    def _room_before_aim(self) -> IntArray:
        """The time each technician has in a plan that ends before the aim, which is set first."""
        worth = self._judged.worth_ms
        if not self._full:
            self._aim = worth - int(SHORT * (worth - self._best))
        crew = np.concatenate([kind.points.technician for kind in self._kinds])
        room = np.array([self._judged.room_ms[int(t)] for t in crew], dtype=np.int64)
        return np.maximum(0, room - (worth - self._aim))

    def _drop_idle(self, multiplier: FloatArray) -> None:
        """Take out rows whose multiplier has been zero for some rounds."""
        waited = {
            need: 0 if multiplier[k] > 1e-9 else self._idle.get(need, 0) + 1
            for k, need in enumerate(self._program.needs)
        }
        old = [k for k, need in enumerate(self._program.needs) if waited[need] > IDLE]
        self._idle = waited
        if old:
            self._program.drop_needs(np.array(old, dtype=np.int64))
