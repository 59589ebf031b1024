"""Benders' decomposition (1962): a bound on the last finish over every assignment of the units.

    aim (a last finish) -> master: an assignment that no cut excludes? -> none: the aim is proved
           ^                     |  assignment
           +--- cuts <--- subproblems: LP of each route near that assignment

Aims are set below the plan at hand. An assignment by which no cut of any technician exceeds the
time up to the aim is sought; linear programs near it give cuts that exclude it, and others like it.
The sets of the cuts count once where they are met; whole cartridges are put in, and what that takes
comes on top of the cuts; all is in whole numbers.
"""

from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from greaseroute.solvers.arrays import BoolArray, FloatArray, IntArray
from greaseroute.solvers.vrp.alike import alike
from greaseroute.solvers.vrp.bag import bag_of
from greaseroute.solvers.vrp.benders.assignment import Assignable, Undecided
from greaseroute.solvers.vrp.benders.cut import OptimalityCut
from greaseroute.solvers.vrp.benders.route_points import RouteLegs, route_legs
from greaseroute.solvers.vrp.benders.subproblem import NoOptimum, RouteMaster
from greaseroute.solvers.vrp.problem import CrewProblem

if TYPE_CHECKING:
    from greaseroute.solvers.vrp.benders.master_cp import AssignmentModel

Given = tuple[tuple[int, int], ...]  # units assigned already: a part of all assignments

MOST_CREW, MOST_UNITS = 2, 80  # beyond these the assignments are too many
MOST_ITERATIONS = 40  # assignments that cuts are made from
FEW_ITERATIONS = 6  # after which a harder aim is tried
FIRST_GAP, HARDER_GAPS, EASIER_GAPS = 2.0, (1.0, 0.5, 0.0), (2.5, 3.0, 4.0, 5.0, 7.0)
# Effort of the master, in its own units (about twice as many seconds): for one assignment, for an
# easier aim, in all.
EFFORT, LITTLE_EFFORT, WHOLE_EFFORT = 2.0, 0.5, 5.0
MIXED = (0.7, 0.3, 0.0)  # how much of the core point is mixed into an assignment
DRIFT = 0.05  # of the core point, towards each assignment
EVEN = 0.5  # of each unit, parted evenly in the first core point; the rest is as in the plan


@dataclass(frozen=True, slots=True, eq=False)
class BoundTask:
    """How early can a crew be home.

    Attributes
    ----------
    problem : CrewProblem
    who : (T,)
        Technicians who take part.
    ways : (W,)
        Ways to be considered, sorted by unit.
    stores : bool
        Whether bags may run out.
    assignment : (units,)
        Place in ``who`` of the one who visits in the plan at hand, -1 where nobody does.
    upper_ms : int
        Last finish of the plan.
    per_cent_ms : float
        A hundredth of what its route decides, for each technician.
    """

    problem: CrewProblem
    who: IntArray
    ways: IntArray
    stores: bool
    assignment: IntArray
    upper_ms: int
    per_cent_ms: float

    def aim_ms(self, gap_pct: float) -> int:
        """The last finish at which the plan at hand has this gap."""
        return self.upper_ms - int(gap_pct * self.per_cent_ms)


def few_enough(task: BoundTask) -> bool:
    """Whether assignments can be gone through."""
    visited = int((task.assignment >= 0).sum())
    return task.who.size <= MOST_CREW and visited <= MOST_UNITS


class BendersLoop:
    """Cuts collected so far, one list per identical technician type, and the master's state."""

    def __init__(self, task: BoundTask) -> None:
        self._task, p = task, task.problem
        self.iterations, self._effort = 0, WHOLE_EFFORT
        self._end = p.end_ms[task.who]
        legs = [route_legs(p, int(t), task.ways, stores=task.stores) for t in task.who]
        bags = tuple(bag_of(p, int(t), task.ways) for t in task.who)
        groups = alike([one.arrays for one in legs])
        type_of = np.zeros(task.who.size, dtype=np.int64)
        for k, group in enumerate(groups):
            type_of[group] = k
        self._programs = [RouteMaster(legs[group[0]]) for group in groups]
        self._who = Assignable(type_of=type_of, may=_may(legs, units=p.units), bags=bags)
        self._cuts: list[list[OptimalityCut]] = [[] for _ in groups]
        # Technicians are interchangeable if times and bags are equal as well.
        self._same = len(groups) == 1 and np.ptp(p.start_ms[task.who]) == np.ptp(self._end) == 0
        self._same &= (
            len({(b.held, b.full, b.left.tobytes(), b.change_ms.tobytes()) for b in bags}) == 1
        )
        # The core point (Magnanti and Wong 1981): cuts made near it hold for many assignments.
        whom = np.maximum(1, self._who.may.sum(axis=1))
        self._core = EVEN * self._who.may / whom[:, None]
        self._core += (1.0 - EVEN) * self._as_parts(task.assignment)
        self._assigned = np.zeros(self._who.may.shape)  # how often, over all iterations
        # When the last one ends by an assignment that cuts did not exclude.
        self._stays: int | None = None
        self._open: list[Given] = [()]  # parts of all assignments in which there may be one
        self._model: AssignmentModel | None = None  # for the aim at hand

    def least(self, over: Callable[[int], bool]) -> int:
        """Bound on the last finish; 0 where nothing was proved."""
        # Cuts at the core point and at the plan itself; then harder and harder aims.
        self._iterate(self._task.assignment, 1.0)
        self._iterate(self._task.assignment, 0.0)
        if not self._who.movable.any():
            return self._finish_ms(self._task.assignment)
        proved = 0
        for gap in (FIRST_GAP, *HARDER_GAPS):
            aim = self._task.aim_ms(gap)
            if not self._none_before(aim, over):
                break
            proved = aim
            if self.iterations > FEW_ITERATIONS:
                break
        if not proved:
            proved = self._none_before_any(over)
        if proved:
            return proved
        # Nothing proved: with the cuts there are, an easier aim may be.
        easier = (self._task.aim_ms(gap) for gap in EASIER_GAPS if not over(0))
        return next((aim for aim in easier if self._excluded(aim)), 0)

    def _none_before_any(self, over: Callable[[int], bool]) -> int:
        """The finish of the assignment that no cut can exclude, if none is found before; else 0."""
        # Each that stays is sooner than the last: the least of all, where the effort lasts.
        while self._stays is not None:
            aim, self._stays = self._stays, None
            if self._none_before(aim, over):
                return aim
        return 0

    def _time_ms(self, aim_ms: int) -> IntArray:
        """The time each technician has in a plan that ends before the aim."""
        start = self._task.problem.start_ms[self._task.who]
        return np.maximum(0, np.minimum(self._end, aim_ms - 1) - start)

    def _none_before(self, aim_ms: int, over: Callable[[int], bool]) -> bool:
        """Whether no plan ends before the aim; false as well where that is left undecided."""
        self._open = [()]
        while not over(self.iterations) and self.iterations < MOST_ITERATIONS:
            try:
                found = self._any_within(self._time_ms(aim_ms), effort=EFFORT)
            except Undecided:
                return False
            if not found:
                return True
            # Cuts nearer and nearer to the assignment, until one excludes it.
            for assignment in found:
                if not any(self._iterate(assignment, mixed) > aim_ms - 1 for mixed in MIXED):
                    self._stays = self._finish_ms(assignment)
                    return False
        return False

    def _any_within(self, time_ms: IntArray, *, effort: float) -> list[IntArray]:
        """Assignments within the times, if any: two parts of them all gone through at a time.

        A part without any stays without: more cuts, or less time, only exclude more.
        """
        # CP-SAT takes half a second to load, which a round that needs no proof is spared
        from greaseroute.solvers.vrp.benders.master_cp import Answer, AssignmentModel

        if self._model is None or (time_ms != self._model.time_ms).any():
            self._model = AssignmentModel(self._who, time_ms=time_ms, alike=bool(self._same))
        model = self._model
        model.learn(self._cuts)

        def answer(given: Given) -> Answer:
            return model.answer(given, effort=effort)

        while self._open:
            if self._effort <= 0.0:
                raise Undecided
            parts = self._next_parts()
            with ThreadPoolExecutor(len(parts)) as pool:
                answers = list(pool.map(answer, parts))
            # What is ruled out stays out; what is found goes to the subproblems.
            self._effort -= sum(answer.spent for answer in answers)
            ruled_out = [p for p, a in zip(parts, answers, strict=True) if a.ruled_out]
            self._open = [part for part in self._open if part not in ruled_out]
            found = [a.assignment for a in answers if a.assignment is not None]
            if found:
                return found
            if len(ruled_out) < len(parts):
                raise Undecided
        return []

    def _next_parts(self) -> list[Given]:
        """Two parts that are still open; a single one is split in two."""
        if len(self._open) == 1:
            (part,) = self._open
            unit = self._branching_unit(part)
            if unit is not None:
                may = np.flatnonzero(self._who.may[unit]).tolist()
                self._open = [(*part, (unit, t)) for t in may]
        return self._open[:2]

    def _branching_unit(self, part: Given) -> int | None:
        """The unit whose assignment differed most over the iterations."""
        movable = self._who.movable
        movable[[unit for unit, _ in part]] = False
        if not movable.any():
            return None
        # Least often over its technicians: the most even of all units.
        often = np.where(self._who.may, self._assigned, self.iterations + 1)
        return int(np.where(movable, often.min(axis=1), -1).argmax())

    def _excluded(self, aim_ms: int) -> bool:
        try:
            return not self._any_within(self._time_ms(aim_ms), effort=LITTLE_EFFORT)
        except Undecided:
            return False

    def _iterate(self, assignment: IntArray, mixed: float) -> int:
        """Make cuts near an assignment; when the last one ends by it at least."""
        self.iterations += 1
        # The core point drifts to where assignments are found.
        parts = self._as_parts(assignment)
        self._core += DRIFT * (parts - self._core)
        self._assigned += parts
        # For each technician the assignment, mixed with the core point, and his store visits.
        wanted: dict[int, list[tuple[FloatArray, float]]] = {}
        for t, k in enumerate(self._who.type_of.tolist()):
            legs = self._programs[k].legs
            units, node = legs.unit[: legs.real], np.zeros(legs.nodes)
            node[: units.size] = ((1.0 - mixed) * parts + mixed * self._core)[units, t]
            visits = self._who.bags[t].store_visits(np.flatnonzero(assignment == t))
            wanted.setdefault(k, []).append((node, float(visits)))
        with ThreadPoolExecutor(len(wanted)) as pool:  # each type has a program of its own
            list(pool.map(self._add_cuts, wanted, wanted.values()))
        return self._finish_ms(assignment)

    def _add_cuts(self, k: int, wanted: Sequence[tuple[FloatArray, float]]) -> None:
        """Add the cuts of one type for parts of its nodes and store visits."""
        for part, store_visits in wanted:
            try:
                cut = self._programs[k].learn(part, store_visits, units=self._task.problem.units)
            except NoOptimum:
                continue
            self._cuts[k].append(cut)

    def _as_parts(self, assignment: IntArray) -> FloatArray:
        """(units, T) one where a unit is visited, zero elsewhere."""
        parts = np.zeros(self._who.may.shape)
        taken = np.flatnonzero(assignment >= 0)
        parts[taken, assignment[taken]] = 1.0
        return parts

    def _finish_ms(self, assignment: IntArray) -> int:
        """When the last one ends at least, by the cuts so far; past his end as if never."""
        last = 0
        for t, k in enumerate(self._who.type_of.tolist()):
            mine = np.flatnonzero(assignment == t)
            bag = self._who.bags[t]
            visits = bag.store_visits(mine)
            # The highest cut counts: all of them hold.
            time = max((cut.least_ms(mine, visits) for cut in self._cuts[k]), default=0)
            ends = (
                int(self._task.problem.start_ms[self._task.who[t]]) + time + bag.changing_ms(mine)
            )
            last = max(last, ends if ends <= self._end[t] else self._task.upper_ms)
        return last


def _may(legs: Sequence[RouteLegs], *, units: int) -> BoolArray:
    """(units, T) who has a way at which unit."""
    may = np.zeros((units, len(legs)), dtype=bool)
    for t, one in enumerate(legs):
        may[one.unit[: one.real], t] = True
    return may
