"""Benders master by CP-SAT: an assignment that no cut excludes, or proof that there is none."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from ortools.sat.python import cp_model

from greaseroute.solvers.arrays import BoolArray, IntArray
from greaseroute.solvers.vrp.bag import Bag
from greaseroute.solvers.vrp.benders.assignment import Assignable
from greaseroute.solvers.vrp.benders.cut import OptimalityCut


@dataclass(frozen=True, slots=True, eq=False)
class Answer:
    """What the master found.

    Attributes
    ----------
    assignment : (units,) or None
        Technicians; None if there is none (``ruled_out``) or none was found.
    spent : float
        Effort, in the solver's own units.
    ruled_out : bool
    """

    assignment: IntArray | None
    spent: float
    ruled_out: bool


class AssignmentModel:
    """Variables and constraints, one rule a method; it grows with the cuts.

    Parameters
    ----------
    who : Assignable
    time_ms : (T,)
        No route may take longer, by any cut.
    alike : bool
        Whether the technicians are interchangeable: one may then be named for the first unit.
    """

    def __init__(self, who: Assignable, *, time_ms: IntArray, alike: bool) -> None:
        self._who, self.time_ms = who, time_ms
        self._model = cp_model.CpModel()
        self._assigned = [
            {u: self._model.new_bool_var("") for u in np.flatnonzero(may).tolist()}
            for may in who.may.T
        ]
        # Each visited unit to one technician.
        for u in who.visited.tolist():
            self._model.add_exactly_one(row[u] for row in self._assigned if u in row)
        if alike:  # any assignment can be renamed so that the first technician has the first unit
            self._model.add(self._assigned[0][int(who.visited[0])] == 1)
        self._changing: list[cp_model.LinearExpr | int] = [0] * len(who.bags)
        self._visits = [self._store_visits(t, bag) for t, bag in enumerate(who.bags)]
        # The time to spare is made as long as possible: it leads to assignments in the middle.
        self._spare = self._model.new_int_var(0, 2**40, "")
        self._model.maximize(self._spare)
        self._met: list[dict[bytes, tuple[BoolArray, cp_model.IntVar]]] = [{} for _ in who.bags]
        self._known = [0] * len(who.bags)

    def _store_visits(self, t: int, bag: Bag) -> cp_model.IntVar:
        """Cartridges put in are enough for the strokes, and no more than the bag gives."""
        # Cartridges of each gun: enough for the strokes of the units assigned.
        put_in: list[cp_model.IntVar] = []
        cartridges = 0
        for g in np.flatnonzero(bag.strokes.any(axis=0)).tolist():
            most = int(-(-bag.strokes[:, g].sum() // bag.cartridge[g]))
            number = self._model.new_int_var(0, most, "")
            cartridges += most
            wanted = sum(int(bag.strokes[u, g]) * var for u, var in self._assigned[t].items())
            self._model.add(number * int(bag.cartridge[g]) >= wanted - int(bag.left[g]))
            put_in.append(number)
            # each takes its time, whatever the route
            self._changing[t] += int(bag.change_ms[g]) * number
        if bag.full == 0:
            return self._model.new_constant(0)
        # Visits: bags enough for the cartridges beyond those held at the start.
        visits = self._model.new_int_var(0, -(-cartridges // bag.full), "")
        self._model.add(visits * bag.full >= sum(put_in) - bag.held)
        return visits

    def learn(self, cuts: Sequence[Sequence[OptimalityCut]]) -> None:
        """Take in the cuts that are new since it was last given all of them, by type."""
        for t, k in enumerate(self._who.type_of.tolist()):
            new = cuts[k][self._known[t] :]
            self._know_sets(t, new)
            for cut in new:
                self._keep_within(t, cut)
            self._known[t] = len(cuts[k])

    def _know_sets(self, t: int, cuts: Sequence[OptimalityCut]) -> None:
        """A set is met if one of its units is visited, or a set within it is met."""
        known = self._met[t]
        sets = {inside.tobytes(): inside for cut in cuts for inside in cut.sets}
        new = [inside for key, inside in sets.items() if key not in known]
        for inside in sorted(new, key=lambda inside: (int(inside.sum()), inside.tobytes())):
            # Small sets first: a large one then refers to those within it, not to their units.
            met, left = self._model.new_bool_var(""), inside.copy()
            for part, part_met in sorted(known.values(), key=lambda kept: -int(kept[0].sum())):
                if (part & left).sum() > 1 and not (part & ~inside).any():
                    self._model.add_implication(part_met, met)
                    left &= ~part
            for u in np.flatnonzero(left).tolist():
                if u in self._assigned[t]:
                    self._model.add_implication(self._assigned[t][u], met)
            known[inside.tobytes()] = inside, met

    def _keep_within(self, t: int, cut: OptimalityCut) -> None:
        """The route time is not more than the technician has, by this cut."""
        time = sum(int(cut.each[u]) * var for u, var in self._assigned[t].items())
        for inside, weight in zip(cut.sets, cut.weight.tolist(), strict=True):
            time += weight * self._met[t][inside.tobytes()][1]
        slack = int(self.time_ms[t]) - cut.fixed
        time += cut.store * self._visits[t] + self._changing[t]
        self._model.add(time + self._spare <= slack)

    def answer(self, given: Sequence[tuple[int, int]], *, effort: float) -> Answer:
        """An assignment by which no route takes too long, if there is any.

        Parameters
        ----------
        given : pairs of int
            Units and their technicians: only assignments with these are looked at.
        effort : float
            Counted and not clocked: the same task ends the same way.
        """
        # A part of all assignments: a copy of the model with the given units fixed.
        part = self._model.clone()
        for u, t in given:
            part.add(part.get_bool_var_from_proto_index(self._assigned[t][u].index) == 1)
        # One worker and a counted effort, so that the answer does not hang on the machine.
        solver = cp_model.CpSolver()
        solver.parameters.num_workers = 1
        solver.parameters.linearization_level = 2  # the relaxation is close: four times as fast
        solver.parameters.cut_level = 0
        solver.parameters.cp_model_probing_level = 0
        solver.parameters.stop_after_first_solution = True
        solver.parameters.catch_sigint_signal = False  # Ctrl-C is the caller's
        solver.parameters.max_deterministic_time = effort
        status = solver.solve(part)
        spent = float(solver.response_proto.deterministic_time)
        if status not in (cp_model.OPTIMAL, cp_model.FEASIBLE):
            return Answer(None, spent, ruled_out=status == cp_model.INFEASIBLE)
        assignment = np.full(self._who.may.shape[0], -1, dtype=np.int64)
        for t, row in enumerate(self._assigned):
            for u, var in row.items():
                if solver.boolean_value(part.get_bool_var_from_proto_index(var.index)):
                    assignment[u] = t
        return Answer(assignment, spent, ruled_out=False)
