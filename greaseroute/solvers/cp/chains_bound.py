"""What no choice of mornings can go below: a linear program over the arcs of all chains.

Each chain is a unit of flow along its arcs; a unit is visited on a morning at least as much as any
of its chains is served on it. Chains that may be parted and chains that may not have the same
program: the bound holds for both.
"""

from dataclasses import dataclass, field

import highspy
import numpy as np

from greaseroute.solvers.cp.chains import START, ChainProblem
from greaseroute.solvers.lp import INFINITY, QuietSolver

MOST_ARCS = 12_000  # beyond it nothing is proved: the program takes too long
SAFE = 1e-6  # share by which a bound is taken lower than the program's value


@dataclass(slots=True)
class _Program:
    """Rows and columns in the making; columns are added with their entries."""

    low: list[float] = field(default_factory=list)
    high: list[float] = field(default_factory=list)
    begin: list[int] = field(default_factory=lambda: [0])
    row: list[int] = field(default_factory=list)
    value: list[float] = field(default_factory=list)

    def rows(self, count: int, low: float, high: float) -> int:
        """Rows with these limits; the number of the first."""
        first = len(self.low)
        self.low += [low] * count
        self.high += [high] * count
        return first

    def column(self, entries: dict[int, float]) -> int:
        """A column from 0 up; its number."""
        self.row += entries
        self.value += entries.values()
        self.begin.append(len(self.row))
        return len(self.begin) - 2


def _columns(program: _Program, problem: ChainProblem) -> tuple[list[int], int]:
    """Flows, visits and the longest morning: (columns of visits, column of the longest)."""
    days, visits = problem.days, list[int]()
    load = program.rows(days, -INFINITY, 0.0)
    tied: dict[tuple[int, int], list[int]] = {}
    for chain in problem.chains:
        balance = {b: program.rows(1, *((1.0, 1.0) if b == START else (0.0, 0.0)))
                   for b in chain.arcs}  # fmt: skip
        # What is served on a morning is visited then.
        served = {m: program.rows(1, -INFINITY, 0.0) for m in balance if m >= 0}
        for m, row in served.items():
            tied.setdefault((chain.unit, m), []).append(row)
        # An arc leaves one morning, and enters, serves and fills another.
        for b, following in chain.arcs.items():
            for m in following:
                entries = {balance[b]: 1.0}
                if m < days:
                    entries |= {balance[m]: -1.0, served[m]: 1.0, load + m: float(chain.work_ms)}
                program.column(entries)
    for (unit, m), rows in tied.items():
        entries = {**dict.fromkeys(rows, -1.0), load + m: float(problem.visit_ms[unit])}
        visits.append(program.column(entries))
    longest = program.column({load + m: -1.0 for m in range(days)})
    return visits, longest


def lower_bounds(problem: ChainProblem) -> tuple[int, int]:
    """(least longest morning in ms, fewest visits) of any choice inside the tolerances.

    0 and 0 where the program is too large or is not solved.
    """
    if sum(len(f) for c in problem.chains for f in c.arcs.values()) > MOST_ARCS:
        return 0, 0
    # One program, two objectives: the longest morning, then the visits.
    program = _Program()
    visits, longest = _columns(program, problem)
    count = len(program.begin) - 1
    lp = highspy.HighsLp()
    lp.num_col_, lp.num_row_ = count, len(program.low)
    lp.col_cost_ = np.zeros(count)
    lp.col_lower_, lp.col_upper_ = np.zeros(count), np.full(count, INFINITY)
    lp.row_lower_, lp.row_upper_ = np.array(program.low), np.array(program.high)
    lp.a_matrix_.format_ = highspy.MatrixFormat.kColwise
    lp.a_matrix_.start_ = np.array(program.begin)
    lp.a_matrix_.index_ = np.array(program.row)
    lp.a_matrix_.value_ = np.array(program.value)
    solver = QuietSolver()
    solver.passModel(lp)
    found = []
    # Warm from the first objective to the second.
    every = np.arange(count, dtype=np.int32)
    for columns in ([longest], visits):
        solver.changeColsCost(count, every, np.isin(every, columns).astype(float))
        solver.run()
        solved = solver.getModelStatus() == highspy.HighsModelStatus.kOptimal
        found.append(solver.getInfo().objective_function_value if solved else 0.0)
    return int(np.ceil(found[0] * (1 - SAFE))), int(np.ceil(found[1] * (1 - SAFE) - SAFE))
