"""Column generation: for which aims can the crew not cover the units by whole rounds?

For an aim, the master asks how much larger the crew would have to be if every round ends by then
and rounds may be taken in part; above one, no plan ends by the aim. Easy aims are excluded first,
and their rounds make the harder ones easier::

    0 ........... low: excluded ..... aim ..... high: rounds cover all units ..... plan at hand
                                  |- master: factor and duals <-.
                                  |- heuristic pricing: rounds -'
                                  `- none found: exact pricing proves that there are none

The proof, in whole numbers: let units have profits u >= 0 and types of technician amounts P >= 1.
If no round of any type ends by the aim with a profit of its amount, all technicians together
collect at most the sum of (P - 1) over them. If that is less than the sum of all profits, not all
units are visited by then.

Sources: Gilmore and Gomory, A linear programming approach to the cutting-stock problem, Operations
Research 9 (1961) 849-859. Farley, A note on bounding a class of linear programming problems,
Operations Research 38 (1990) 922-923, for a bound from any duals. Wentges, Weighted Dantzig-Wolfe
decomposition for linear mixed-integer programming, International Transactions in Operational
Research 4 (1997) 151-162, for the smoothing of duals.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from greaseroute.solvers.arrays import FloatArray, IntArray
from greaseroute.solvers.stop import StopRule
from greaseroute.solvers.vrp.columns.master import Column, Duals, Master
from greaseroute.solvers.vrp.columns.network import types_of
from greaseroute.solvers.vrp.columns.pricing import (
    EXACT,
    HEURISTIC,
    Effort,
    Priced,
    Round,
    StepsTooShort,
    TypePricing,
)
from greaseroute.solvers.vrp.problem import CrewProblem
from greaseroute.solvers.vrp.solution import CrewSolution, TechnicianRound

PROFIT_SUM = 2**40  # profits of all units together, about
WORK_PER_ITERATION = 3_000_000  # arcs tried that count as one iteration of a bound
ARCS_PER_S = 8_000_000  # tried on one core, about
NEW_COLUMNS = 200  # of one type, taken into the master after one run
SMOOTHING = 0.5  # share of the centre in the duals that are priced
DRIFT = 0.2  # of the centre, towards duals that gave columns
LIFT = 0.5  # of what rounds lately had above the profit asked for, asked for in the next run
TRIES, MORE_ASKED = 4, 1.04  # of heuristic runs that come to too many labels, each for more profit
MEANINGLESS = 1.5  # a factor above which the centre alone is priced
COVERED = 1.0 - 1e-6  # a factor below which an aim is not excluded by the rounds known
# A factor below which exact pricing waits for duals that are not smoothed, and for the aims below.
DOUBTFUL = 1.0005
REDUCED_COST = 1e-9  # a round with less above its type's dual is no use to the master

LEAST_CREW, MOST_UNITS_EACH = 3, 16  # else assignments, or one program over all rounds

# Gaps in per cent of what the route decides.
FIRST_GAP = 5.0  # of the first aim below the plan at hand
NARROWER = 0.6  # of a gap that is proved: the next to be tried
LAST_STEP = 0.5  # a gap from which on the plan itself is tried to be proved best
ENOUGH = 1.0  # a gap from which on work counts ``MORE_COSTLY`` times
MORE_COSTLY = 5
CLOSE = 0.2  # aims nearer than this to each other are not told apart
WIDE = 4  # times as far apart: an aim in doubt is left, and a lower one tried


@dataclass(frozen=True, slots=True, eq=False)
class RoundsTask:
    """What is to be bounded: the last finish of technicians who visit some units.

    Attributes
    ----------
    problem : CrewProblem
    who : (k,)
        Technicians who take part.
    ways : (w,)
        Ways of the units to be visited, sorted by unit.
    plan : CrewSolution
        The plan at hand; all of ``who`` have a round in it.
    per_cent_ms : float
        A hundredth of what the route decides, for each technician.
    """

    problem: CrewProblem
    who: IntArray
    ways: IntArray
    plan: CrewSolution
    per_cent_ms: float

    @property
    def with_stores(self) -> bool:
        """Whether the plan fills a bag on the way; else bags are left out of the bound."""
        return any(v.kind == "store" for r in self.plan.rounds for v in r.visits)

    def rounds(self) -> list[TechnicianRound]:
        """The rounds of ``who``."""
        return [r for r in self.plan.rounds if r.technician in self.who]


def rounds_are_short(task: RoundsTask) -> bool:
    """Whether rounds are short enough, and many enough, for labels to be worth their time."""
    units = np.unique(task.problem.way_unit[task.ways]).size
    return task.who.size >= LEAST_CREW and units <= MOST_UNITS_EACH * task.who.size


class ColumnGeneration:
    """A bound on the last finish, raised aim by aim and good at any moment."""

    def __init__(self, task: RoundsTask) -> None:
        self._task, p = task, task.problem
        self._types = types_of(p, task.who, task.ways)
        self._type_of = {t: k for k, kind in enumerate(self._types) for t in kind.technicians}
        self._counts = np.array([len(kind.technicians) for kind in self._types], dtype=np.int64)
        self._pricing = [
            TypePricing(p, kind, task.ways, stores=task.with_stores) for kind in self._types
        ]
        self._units = np.unique(p.way_unit[task.ways])
        self._master = Master(self._units.size, self._counts)
        self._master.add(self._columns_of_plan())
        self._centre = self._duals_of_plan()
        # By type, how far the best round of the last heuristic run was above what was asked for.
        self._above = np.ones(len(self._types))
        self._last_ms = task.plan.last_finish_ms
        self._low_ms, self._high_ms, self._work = 0, self._last_ms, 0
        self._stop = StopRule.after()

    def least(self, stop: StopRule, *, known_ms: int = 0) -> int:
        """No plan ends before this or the plan at hand; 0 if nothing was proved.

        Parameters
        ----------
        stop : StopRule
            An iteration is ``WORK_PER_ITERATION`` arcs tried.
        known_ms : int
            A bound that is known already.
        """
        self._low_ms, self._stop = known_ms, stop
        try:
            while not self._over() and self._low_ms < self._last_ms:
                aim = self._next_aim()
                if self._excludes(aim):
                    self._low_ms = aim + 1
                elif not self._over():
                    self._high_ms = aim
                # Nothing is left between the bound and what rounds cover: fewer rounds, if any.
                if self._high_ms - self._low_ms <= self._close_ms and not self._remember_more():
                    break
        except StepsTooShort:
            pass
        return self._low_ms

    def _over(self) -> bool:
        """Whether the work or the time allowed is used up; less of it where little is left open."""
        near = self._last_ms - self._low_ms <= ENOUGH * self._task.per_cent_ms
        return self._stop.over(int(self._work * (MORE_COSTLY if near else 1)) // WORK_PER_ITERATION)

    def _arcs_left(self) -> int:
        """Arcs that may still be tried, by the work and by the time allowed."""
        # Seconds are not divisible inside a run, arcs are: a run is given up in time.
        arcs = int(max(0.0, self._stop.seconds_left()) * ARCS_PER_S)
        if self._stop.iterations is not None:
            arcs = min(arcs, self._stop.iterations * WORK_PER_ITERATION - self._work)
        return max(0, arcs)

    @property
    def _close_ms(self) -> int:
        return max(1, int(CLOSE * self._task.per_cent_ms))

    def _next_aim(self) -> int:
        """The aim to be excluded next, above ``low`` and below ``high``."""
        last, per_cent = self._last_ms, self._task.per_cent_ms
        # between what is proved and what is not; else harder than the last, or easier
        if self._low_ms and self._high_ms < last:
            return (self._low_ms + self._high_ms) // 2
        if self._low_ms:
            gap_ms = last - self._low_ms
            return last - 1 if gap_ms <= LAST_STEP * per_cent else last - int(NARROWER * gap_ms)
        # Nothing is proved yet: twice as easy each time.
        gap_ms = int(FIRST_GAP * per_cent) if self._high_ms == last else 2 * (last - self._high_ms)
        return max(0, last - max(1, gap_ms))

    def _excludes(self, aim_ms: int) -> bool:
        """Whether it is proved that no plan ends by the aim."""
        self._master.aim(aim_ms)
        # Cheap runs while they find rounds; near the end with duals that are drawn less aside.
        smoothing = SMOOTHING
        while not self._over():
            duals = self._master.solve()
            if duals is None or duals.factor < COVERED:
                return False
            # The last of it takes longest: an easier aim first, where there is room for one.
            if duals.factor < DOUBTFUL and self._high_ms - self._low_ms > WIDE * self._close_ms:
                return False
            if self._price(duals, aim_ms, HEURISTIC, smoothing=smoothing).added:
                continue
            if smoothing > 0.0 and duals.factor < DOUBTFUL:
                smoothing = _less(smoothing)
                continue
            # Only a run that misses nothing can prove that no round is left.
            exact = self._price(duals, aim_ms, EXACT, smoothing=smoothing)
            if exact.none_left:
                return True
            # Rounds were found, but by duals drawn aside: none of them helps the master.
            if not exact.added:
                if smoothing == 0.0 or not exact.complete:
                    return False
                smoothing = _less(smoothing)
        return False

    def _price(self, duals: Duals, aim_ms: int, effort: Effort, *, smoothing: float) -> "_Outcome":
        """Price rounds of all types at duals drawn to the centre; take them into the master."""
        # far from covering the units, duals say little
        if duals.factor > MEANINGLESS:
            smoothing = 1.0
        unit = smoothing * self._centre.unit + (1 - smoothing) * duals.unit / duals.unit.sum()
        kind = smoothing * self._centre.kind + (1 - smoothing) * duals.kind
        profits, least = whole_profits(unit, kind, self._counts)
        added, found, complete = 0, False, True
        for k in range(len(self._types)):
            priced = self._priced(k, profits, least=int(least[k]), aim_ms=aim_ms, effort=effort)
            complete &= priced.complete
            found |= bool(priced.rounds)
            added += self._take(k, priced.rounds, duals)
        if added:
            # duals that gave rounds were good: the centre follows them
            self._centre = Duals(
                1.0,
                self._centre.unit + DRIFT * (unit - self._centre.unit),
                self._centre.kind + DRIFT * (kind - self._centre.kind),
            )
        return _Outcome(added, complete, none_left=complete and not found)

    def _priced(
        self, k: int, profits: IntArray, *, least: int, aim_ms: int, effort: Effort
    ) -> Priced:
        """Rounds of one type; heuristic runs ask for more profit where there are very many."""
        heuristic, pricing = effort is HEURISTIC, self._pricing[k]
        above = 1.0 + LIFT * (self._above[k] - 1.0) if heuristic else 1.0
        for _ in range(TRIES if heuristic else 1):
            wanted = min(int(least * above), 2 * PROFIT_SUM)  # more than any round has
            effort = replace(effort, arcs=self._arcs_left())
            priced = pricing.price(profits, least=wanted, finish_ms=aim_ms, effort=effort)
            self._work += priced.work
            # Too many labels: ask for more profit. Nothing found for more: ask for what is needed.
            if priced.overflow:
                above *= MORE_ASKED
            elif priced.rounds or above == 1.0:
                break
            else:
                above = 1.0
        if heuristic:
            self._above[k] = priced.rounds[0].profit / least if priced.rounds else above
        return priced

    def _take(self, k: int, rounds: Sequence[Round], duals: Duals) -> int:
        """Add the best of some rounds that would lower the master's factor; how many are new."""
        level = duals.kind[k] + REDUCED_COST
        better = [r for r in rounds if duals.unit[list(r.units)].sum() > level]
        return self._master.add(Column(k, r) for r in better[:NEW_COLUMNS])

    def _remember_more(self) -> bool:
        """Let units be remembered where rounds of the master come back to them too soon.

        False if no round does; else rounds that are ng-routes no longer are forgotten.
        """
        # Rounds that cover all units by the harder end of the gap: are they rounds at all?
        self._master.aim(self._high_ms)
        self._master.solve()
        grown = [self._pricing[c.kind].forbid(c.round.units) for c in self._master.used()]
        # what may no longer be taken would cover units for nothing
        if any(grown):
            known = self._master.columns()
            self._master.keep(c for c in known if self._pricing[c.kind].allows(c.round.units))
            self._high_ms = self._last_ms
        return any(grown)

    def _columns_of_plan(self) -> Iterable[Column]:
        """The rounds of the plan at hand, and each without one unit or two that follow."""
        for k, rows in self._orders():
            for some in _shorter(rows):
                ends = self._pricing[k].finish_ms(some)
                if ends is not None:
                    yield Column(k, Round(tuple(some), ends, 0))

    def _orders(self) -> Iterable[tuple[int, list[int]]]:
        """The type and the units (rows) of each round of the plan at hand."""
        for r in self._task.rounds():
            visited = [v.unit for v in r.visits if v.kind == "unit"]
            yield self._type_of[r.technician], np.searchsorted(self._units, visited).tolist()

    def _duals_of_plan(self) -> Duals:
        """Each unit is worth its share of the time, each technician the time of the round."""
        # Even shares where the network does not allow a round (a store on the way).
        worth, of_type = np.zeros(self._units.size), np.zeros(len(self._types))
        for k, rows in self._orders():
            moments = self._pricing[k].moments_ms(rows)
            worth[rows] = 1.0 / max(1, len(rows)) if moments is None else _shares(moments)
            of_type[k] += worth[rows].sum()
        # Someone who visits nothing is worth little, but not nothing.
        kind = np.maximum(of_type / self._counts, 1e-6 * worth.sum())
        return Duals(1.0, worth / worth.sum(), kind / (kind * self._counts).sum())


@dataclass(frozen=True, slots=True)
class _Outcome:
    """Columns added to the master, whether no round was missed, whether there is none at all."""

    added: int
    complete: bool
    none_left: bool


def whole_profits(
    unit: FloatArray, kind: FloatArray, counts: IntArray
) -> tuple[IntArray, IntArray]:
    """Profits of units (n,) and amounts of types (K,) in whole numbers, fit for the proof.

    Any duals will do, as long as none is negative and not all of the units' are zero: what all
    technicians collect with less than their amounts is less than the sum of profits.
    """
    profits = np.rint(unit / unit.sum() * PROFIT_SUM).astype(np.int64)
    total, weight = int(profits.sum()), max(float((counts * kind).sum()), 1e-300)
    least = np.maximum(1, np.ceil(kind / weight * total).astype(np.int64))
    # Weights are rounded in floating point: their sum may come out too high.
    while int((counts * (least - 1)).sum()) >= total:
        least = np.maximum(1, least - 1)
    return profits, least


def _less(smoothing: float) -> float:
    return 0.0 if smoothing < SMOOTHING / 2 else smoothing / 2


def _shorter(rows: list[int]) -> list[list[int]]:
    """A round, and all rounds without one of its units or two that follow each other."""
    cut = [rows[:i] + rows[i + n :] for n in (0, 1, 2) for i in range(len(rows) - n + 1)]
    return [some for some in cut if some]


def _shares(moments_ms: list[int]) -> FloatArray:
    """Each unit's share of a round: half of the time up to it and half of the time after it."""
    steps = np.diff(moments_ms, prepend=0) / moments_ms[-1]
    shares: FloatArray = 0.5 * (steps[:-1] + steps[1:])
    shares[0] += 0.5 * steps[0]
    shares[-1] += 0.5 * steps[-1]
    return shares
