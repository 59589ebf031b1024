"""The restricted master: how much larger the crew would have to be, for rounds that end by an aim.

Least factor such that every unit is covered by rounds and no type of technician takes more rounds
than the factor times its number, rounds taken in part allowed. If the factor over all rounds that
end by the aim is above one, no plan ends by then. Its duals price further rounds.
"""

from collections.abc import Iterable
from typing import NamedTuple

import numpy as np
from highspy import HighsModelStatus

from greaseroute.solvers.arrays import FloatArray, IntArray
from greaseroute.solvers.lp import INFINITY, NO_ENTRIES, QuietSolver, compressed, entries
from greaseroute.solvers.vrp.columns.pricing import Round

TAKEN = 1e-6  # of a round, at least
STAND_IN = 10.0  # cost of leaving a unit uncovered: keeps every program solvable


class Duals(NamedTuple):
    """The factor, and duals of units (n,) and of types (K,), none negative."""

    factor: float
    unit: FloatArray
    kind: FloatArray


class Column(NamedTuple):
    """A round of a type of technician."""

    kind: int
    round: Round


class Master:
    """The restricted master over the rounds known so far."""

    def __init__(self, units: int, counts: IntArray) -> None:
        """``units`` rows to be covered, ``counts`` (K,) technicians of each type."""
        self._units, self._counts = units, counts
        self._known: dict[tuple[int, tuple[int, ...]], Column] = {}
        self._aim_ms = -1
        self._solver = QuietSolver()
        self._present: list[Column] = []

    def aim(self, finish_ms: int) -> None:
        """Keep to rounds that end by ``finish_ms``."""
        self._aim_ms, self._solver, self._present = finish_ms, QuietSolver(), []
        n, kinds = self._units, self._counts.size
        low = np.concatenate([np.ones(n), np.zeros(kinds)])
        high, none = np.full(low.size, INFINITY), compressed(NO_ENTRIES, low.size)
        self._solver.addRows(low.size, low, high, *none)
        # the factor, then for each unit a column that covers it alone
        cost = np.concatenate([[1.0], np.full(n, STAND_IN)])
        rows, kind_rows = np.arange(n), np.arange(kinds)
        factor = entries(np.zeros(kinds, dtype=np.int64), n + kind_rows, self._counts.astype(float))
        block = np.concatenate([factor, entries(1 + rows, rows, 1.0)])
        self._add_columns(cost, block)
        self._put([c for c in self._known.values() if c.round.finish_ms <= finish_ms])

    def add(self, columns: Iterable[Column]) -> int:
        """Add rounds; how many of them are new to the program as it is."""
        new = []
        for column in columns:
            # of rounds through the same units the one that ends soonest
            key = column.kind, tuple(sorted(column.round.units))
            known = self._known.get(key)
            if known is not None and known.round.finish_ms <= column.round.finish_ms:
                continue
            self._known[key] = column
            absent = known is None or known.round.finish_ms > self._aim_ms
            if absent and column.round.finish_ms <= self._aim_ms:
                new.append(column)
        self._put(new)
        return len(new)

    def _put(self, columns: list[Column]) -> None:
        if not columns:
            return
        blocks = []
        for k, column in enumerate(columns):
            units, visits = np.unique(column.round.units, return_counts=True)
            here = np.full(units.size + 1, k)
            rows = np.append(units, self._units + column.kind)
            blocks.append(entries(here, rows, np.append(visits, -1.0)))
        self._add_columns(np.zeros(len(columns)), np.concatenate(blocks))
        self._present += columns

    def _add_columns(self, cost: FloatArray, block: FloatArray) -> None:
        zero, high = np.zeros(cost.size), np.full(cost.size, INFINITY)
        self._solver.addCols(cost.size, cost, zero, high, *compressed(block, cost.size))

    def solve(self) -> Duals | None:
        """Least factor over the rounds known, and its duals; None where HiGHS gives none."""
        self._solver.run()
        if self._solver.getModelStatus() != HighsModelStatus.kOptimal:
            return None
        # rounding may leave duals a little below zero
        dual = np.maximum(np.array(self._solver.getSolution().row_dual), 0.0)
        factor = float(self._solver.getInfo().objective_function_value)
        return Duals(factor, dual[: self._units], dual[self._units :])

    def used(self) -> list[Column]:
        """Rounds that the last solution takes, in part or whole."""
        # after the factor and the columns that stand in
        value = np.array(self._solver.getSolution().col_value)[1 + self._units :]
        return [self._present[k] for k in np.flatnonzero(value > TAKEN)]

    def keep(self, columns: Iterable[Column]) -> None:
        """Forget all rounds but these; ``aim`` must follow."""
        self._known = {(c.kind, tuple(sorted(c.round.units))): c for c in columns}

    def columns(self) -> list[Column]:
        """All rounds known."""
        return list(self._known.values())
