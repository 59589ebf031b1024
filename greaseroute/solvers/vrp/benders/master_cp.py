"""Sharing out by CP-SAT: a share by which no tariff exceeds its room, or proof that none is."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from ortools.sat.python import cp_model

from greaseroute.solvers.arrays import BoolArray, IntArray
from greaseroute.solvers.vrp.benders.cut import Tariff
from greaseroute.solvers.vrp.benders.master_search import Sharers
from greaseroute.solvers.vrp.benders.route_points import Bag


@dataclass(frozen=True, slots=True, eq=False)
class Answer:
    """A share, None if there is none (``ruled_out``) or none was found, and the effort spent."""

    share: IntArray | None
    spent: float
    ruled_out: bool


class ShareModel:
    """Variables and constraints, one rule a method; it grows with the tariffs."""

    def __init__(self, sharers: Sharers, *, room_ms: IntArray, alike: bool) -> None:
        """``room_ms`` (T,) no tariff may exceed; ``alike``: one may be named for the first unit."""
        self._sharers, self.room_ms = sharers, room_ms
        self._model = cp_model.CpModel()
        self._gives = [
            {u: self._model.new_bool_var("") for u in np.flatnonzero(may).tolist()}
            for may in sharers.may.T
        ]
        for u in sharers.visited.tolist():
            self._model.add_exactly_one(row[u] for row in self._gives if u in row)
        if alike:  # any share can be told with the first unit at the first technician
            self._model.add(self._gives[0][int(sharers.visited[0])] == 1)
        self._visits = [self._store_visits(t, bag) for t, bag in enumerate(sharers.bags)]
        self._spare = self._model.new_int_var(0, 2**40, "")
        self._model.maximize(self._spare)
        self._met: list[dict[bytes, tuple[BoolArray, cp_model.IntVar]]] = [{} for _ in sharers.bags]
        self._known = [0] * len(sharers.bags)

    def _store_visits(self, t: int, bag: Bag) -> cp_model.IntVar:
        """Cartridges put in are enough for the strokes, and no more than the bag gives."""
        put_in: list[cp_model.IntVar] = []
        cartridges = 0
        for g in np.flatnonzero(bag.strokes.any(axis=0)).tolist():
            most = int(-(-bag.strokes[:, g].sum() // bag.cartridge[g]))
            number = self._model.new_int_var(0, most, "")
            cartridges += most
            wanted = sum(int(bag.strokes[u, g]) * give for u, give in self._gives[t].items())
            self._model.add(number * int(bag.cartridge[g]) >= wanted - int(bag.left[g]))
            put_in.append(number)
        if bag.full == 0:
            return self._model.new_constant(0)
        visits = self._model.new_int_var(0, -(-cartridges // bag.full), "")
        self._model.add(visits * bag.full >= sum(put_in) - bag.held)
        return visits

    def learn(self, tariffs: Sequence[Sequence[Tariff]]) -> None:
        """Take in the tariffs that are new since it was last told all of them, by sort."""
        for t, k in enumerate(self._sharers.like.tolist()):
            new = tariffs[k][self._known[t] :]
            self._know_sets(t, new)
            for tariff in new:
                self._keep_within(t, tariff)
            self._known[t] = len(tariffs[k])

    def _know_sets(self, t: int, tariffs: Sequence[Tariff]) -> None:
        """A set is met if one of its units is visited, or a set within it is met."""
        known = self._met[t]
        sets = {inside.tobytes(): inside for tariff in tariffs for inside in tariff.sets}
        new = [inside for key, inside in sets.items() if key not in known]
        for inside in sorted(new, key=lambda inside: (int(inside.sum()), inside.tobytes())):
            met, left = self._model.new_bool_var(""), inside.copy()
            for part, part_met in sorted(known.values(), key=lambda kept: -int(kept[0].sum())):
                if (part & left).sum() > 1 and not (part & ~inside).any():
                    self._model.add_implication(part_met, met)
                    left &= ~part
            for u in np.flatnonzero(left).tolist():
                if u in self._gives[t]:
                    self._model.add_implication(self._gives[t][u], met)
            known[inside.tobytes()] = inside, met

    def _keep_within(self, t: int, tariff: Tariff) -> None:
        """What the tariff tells is not more than the room."""
        time = sum(int(tariff.each[u]) * give for u, give in self._gives[t].items())
        for inside, weight in zip(tariff.sets, tariff.weight.tolist(), strict=True):
            time += weight * self._met[t][inside.tobytes()][1]
        room = int(self.room_ms[t]) - tariff.fixed
        self._model.add(time + tariff.store * self._visits[t] + self._spare <= room)

    def answer(self, given: Sequence[tuple[int, int]], *, effort: float) -> Answer:
        """A share (units,) of technicians by which no tariff exceeds its room, if there is any.

        ``given``: units and their technicians. ``effort`` is counted and not clocked: the same
        question ends the same way.
        """
        part = self._model.clone()
        for u, t in given:
            part.add(part.get_bool_var_from_proto_index(self._gives[t][u].index) == 1)
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
        share = np.full(self._sharers.may.shape[0], -1, dtype=np.int64)
        for t, row in enumerate(self._gives):
            for u, give in row.items():
                if solver.boolean_value(part.get_bool_var_from_proto_index(give.index)):
                    share[u] = t
        return Answer(share, spent, ruled_out=False)
