"""Sharing out by CP-SAT: a share by which no tariff exceeds its room, or proof that none is."""

from collections.abc import Sequence

import numpy as np
from ortools.sat.python import cp_model

from greaseroute.rounds.problem import IntArray
from greaseroute.rounds.share_points import Bag
from greaseroute.rounds.share_search import Sharers, Unsettled
from greaseroute.rounds.tariff import Tariff


class _Model:
    """Variables and constraints, one rule a method."""

    def __init__(self, sharers: Sharers, *, alike: bool) -> None:
        self.sharers = sharers
        self.model = cp_model.CpModel()
        self.gives = [
            {u: self.model.new_bool_var("") for u in np.flatnonzero(may).tolist()}
            for may in sharers.may.T
        ]
        for u in sharers.visited.tolist():
            self.model.add_exactly_one(row[u] for row in self.gives if u in row)
        if alike:  # any share can be told with the first unit at the first technician
            self.model.add(self.gives[0][int(sharers.visited[0])] == 1)
        self.visits = [self._store_visits(t, bag) for t, bag in enumerate(sharers.bags)]
        self.spare = self.model.new_int_var(0, 2**40, "")
        self.model.maximize(self.spare)
        self._met: dict[tuple[int, bytes], cp_model.IntVar] = {}

    def _store_visits(self, t: int, bag: Bag) -> cp_model.IntVar:
        """Cartridges put in are enough for the strokes, and no more than the bag gives."""
        put_in: list[cp_model.IntVar] = []
        cartridges = 0
        for g in np.flatnonzero(bag.strokes.any(axis=0)).tolist():
            most = int(-(-bag.strokes[:, g].sum() // bag.cartridge[g]))
            number = self.model.new_int_var(0, most, "")
            cartridges += most
            wanted = sum(int(bag.strokes[u, g]) * give for u, give in self.gives[t].items())
            self.model.add(number * int(bag.cartridge[g]) >= wanted - int(bag.left[g]))
            put_in.append(number)
        if bag.full == 0:
            return self.model.new_constant(0)
        visits = self.model.new_int_var(0, -(-cartridges // bag.full), "")
        self.model.add(visits * bag.full >= sum(put_in) - bag.held)
        return visits

    def know_sets(self, t: int, tariffs: Sequence[Tariff]) -> None:
        """A set is met if one of its units is visited, or a set within it is met."""
        sets = {inside.tobytes(): inside for tariff in tariffs for inside in tariff.sets}
        ordered = sorted(sets.values(), key=lambda inside: (int(inside.sum()), inside.tobytes()))
        for k, inside in enumerate(ordered):
            met = self._met[t, inside.tobytes()] = self.model.new_bool_var("")
            left = inside.copy()
            for part in reversed(ordered[:k]):
                if not (part & ~inside).any() and (part & left).sum() > 1:
                    self.model.add_implication(self._met[t, part.tobytes()], met)
                    left &= ~part
            for u in np.flatnonzero(left).tolist():
                if u in self.gives[t]:
                    self.model.add_implication(self.gives[t][u], met)

    def keep_within(self, t: int, tariff: Tariff, room_ms: int) -> None:
        """What the tariff tells is not more than the room."""
        time = sum(int(tariff.each[u]) * give for u, give in self.gives[t].items())
        for inside, weight in zip(tariff.sets, tariff.weight.tolist(), strict=True):
            time += weight * self._met[t, inside.tobytes()]
        self.model.add(time + tariff.store * self.visits[t] + self.spare <= room_ms - tariff.fixed)


def shared_within(
    sharers: Sharers,
    tariffs: Sequence[Sequence[Tariff]],
    *,
    room_ms: IntArray,
    alike: bool,
    effort: float,
) -> tuple[IntArray | None, float]:
    """A share (units,) of technicians by which no tariff exceeds ``room_ms`` (T,); None if none is.

    With it the effort spent.

    ``alike``: all technicians are, so that one may be named for the first unit.

    Raises
    ------
    Unsettled
        After ``effort``, counted and not clocked: the same question ends the same way.
    """
    rules = _Model(sharers, alike=alike)
    for t, k in enumerate(sharers.like.tolist()):
        rules.know_sets(t, tariffs[k])
        for tariff in tariffs[k]:
            rules.keep_within(t, tariff, int(room_ms[t]))
    solver = cp_model.CpSolver()
    solver.parameters.num_workers = 1
    solver.parameters.linearization_level = 2  # the relaxation is close: four times as fast
    solver.parameters.cut_level = 0
    solver.parameters.cp_model_probing_level = 0
    solver.parameters.stop_after_first_solution = True
    solver.parameters.catch_sigint_signal = False  # Ctrl-C is the caller's
    solver.parameters.max_deterministic_time = effort
    status = solver.solve(rules.model)
    spent = float(solver.response_proto.deterministic_time)
    if status == cp_model.INFEASIBLE:
        return None, spent
    if status not in (cp_model.OPTIMAL, cp_model.FEASIBLE):
        raise Unsettled
    share = np.full(sharers.may.shape[0], -1, dtype=np.int64)
    for t, row in enumerate(rules.gives):
        for u, give in row.items():
            if solver.boolean_value(give):
                share[u] = t
    return share, spent
