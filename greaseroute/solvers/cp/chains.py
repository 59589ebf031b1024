"""Chains of services over mornings: the problem, loads of any choice, a quick choice by hand.

A chain is one joint (or several that are always served together): a path through the mornings
along arcs, from ``START`` to the end. Integers only: no unit, no joint, no clock.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from greaseroute.errors import UnfitProblem
from greaseroute.solvers.arrays import LARGEST_SUM, FloatArray, IntArray
from greaseroute.solvers.result import Status

START = -1
SWEEPS = 12  # most passes over all chains; they mostly end sooner, where nothing gets better
POWERS = (2.0, 8.0, 24.0)  # of the load in the cost of a morning: the higher, the more level
OVERLOAD, LATE = 1e6, 1e3  # cost of a mean morning too much; of one unit of weight too late


@dataclass(frozen=True, slots=True)
class Chain:
    """One chain.

    Attributes
    ----------
    unit : int
        Its unit.
    work_ms : int
        Time of each service.
    weight : int
        Weight of one service done too late.
    arcs : dict
        From a morning (``START`` or 0 to D - 1) the mornings that may follow; D is the end.
    late : dict
        The same for arcs beyond the tolerance, taken only for want of room.
    """

    unit: int
    work_ms: int
    weight: int
    arcs: dict[int, tuple[int, ...]]
    late: dict[int, tuple[int, ...]]


@dataclass(frozen=True, slots=True, eq=False)
class ChainProblem:
    """Chains of U units over D mornings: ``visit_ms`` (U,) of a visit whatever is done there,
    ``capacity_ms`` (D,) of each morning. ``tied``: some chain stands for several that could be
    parted, so that a bound of the tied ones alone would not hold for all."""

    chains: tuple[Chain, ...]
    visit_ms: IntArray
    capacity_ms: IntArray
    tied: bool = False

    @property
    def days(self) -> int:
        """Number of mornings."""
        return len(self.capacity_ms)


@dataclass(frozen=True, slots=True, eq=False)
class Levelled:
    """``mornings`` of each chain in order, ``load_ms`` (D,), and what is proved.

    ``lower_ms``: no choice of arcs inside the tolerances has a shorter longest morning;
    ``fewest_visits``: nor one with fewer visits. ``late`` are the chains that take an arc beyond
    their tolerance.
    """

    mornings: tuple[tuple[int, ...], ...]
    load_ms: IntArray
    visits: int
    lower_ms: int
    fewest_visits: int
    late: tuple[int, ...]
    status: Status

    @property
    def longest_ms(self) -> int:
        """The longest morning."""
        return int(self.load_ms.max(initial=0))


def check(problem: ChainProblem) -> None:
    """Raise ``UnfitProblem`` for a chain that leads nowhere, or amounts too large to add up."""
    total = sum(chain.work_ms for chain in problem.chains) + int(problem.visit_ms.sum())
    if problem.days == 0 or total * problem.days > LARGEST_SUM:
        _refuse("capacity_ms", f"{problem.days} mornings, sum {total}", limit="sums below 2**53")
    for chain in problem.chains:
        for b, following in chain.arcs.items():
            if not following or min(following) <= b or max(following) > problem.days:
                _refuse("arcs", f"{b} to {following}", limit="later mornings, one or more")


def _refuse(what: str, value: str, *, limit: str) -> None:
    raise UnfitProblem(
        f"levelling: {what}", value, limit=limit, next_step="mend the caller, not the data"
    )


def loads(problem: ChainProblem, mornings: Sequence[Sequence[int]]) -> tuple[IntArray, int]:
    """Time (D,) of each morning and the number of visits, of any choice of mornings."""
    # Work of every service, then one visit for each unit and morning.
    load = np.zeros(problem.days, dtype=np.int64)
    visits = set()
    for chain, mine in zip(problem.chains, mornings, strict=True):
        for m in mine:
            load[m] += chain.work_ms
            visits.add((chain.unit, m))
    for unit, m in visits:
        load[m] += problem.visit_ms[unit]
    return load, len(visits)


class Spreading:
    """A choice under way: loads of mornings, how often each unit is visited on each."""

    def __init__(self, problem: ChainProblem) -> None:
        self.problem = problem
        self.load = np.zeros(problem.days)
        self.visits = np.zeros((len(problem.visit_ms), problem.days), dtype=np.int64)
        self.mornings: list[tuple[int, ...]] = [() for _ in problem.chains]
        self.scale = 1.0

    def put(self, number: int, mine: tuple[int, ...], *, sign: int = 1) -> None:
        """Add a chain on its mornings, or take it off."""
        chain = self.problem.chains[number]
        for m in mine:
            before = self.visits[chain.unit, m]
            self.visits[chain.unit, m] += sign
            self.load[m] += sign * chain.work_ms
            if before == 0 or self.visits[chain.unit, m] == 0:
                self.load[m] += sign * self.problem.visit_ms[chain.unit]
        self.mornings[number] = mine if sign > 0 else ()

    def prices(self, chain: Chain, power: float) -> FloatArray:
        """(D,) what it costs to serve a chain on each morning."""
        # A visit that is made anyway costs nothing more.
        new = self.visits[chain.unit] == 0
        after = self.load + chain.work_ms + np.where(new, self.problem.visit_ms[chain.unit], 0)
        return self._cost(after, power) - self._cost(self.load, power)

    def _cost(self, load: FloatArray, power: float) -> FloatArray:
        over = np.maximum(0.0, load - self.problem.capacity_ms) / self.scale
        # The sum of the loads beside their power: of level choices the one with less to do.
        return np.asarray((load / self.scale) ** power + 0.01 * load / self.scale + OVERLOAD * over)


def best_path(chain: Chain, prices: FloatArray) -> tuple[int, ...]:
    """The mornings of the cheapest path of a chain, late arcs dearest; later mornings first."""
    # Backwards: what it costs to go on from each morning, and where to.
    days = len(prices)
    cost: dict[int, tuple[float, int]] = {days: (0.0, days)}
    for b in sorted(chain.arcs, reverse=True):
        options = [(_step(m, prices, cost, days=days), m) for m in chain.arcs[b]]
        for m in chain.late.get(b, ()):
            late = LATE * chain.weight * (m - max(chain.arcs[b]))
            options.append((_step(m, prices, cost, days=days) + late, m))
        cost[b] = min(options)
    mine, at = [], START
    while (at := cost[at][1]) < days:
        mine.append(at)
    return tuple(mine)


def _step(m: int, prices: FloatArray, cost: dict[int, tuple[float, int]], *, days: int) -> float:
    """Cost of going on from morning m, it included."""
    return cost[m][0] + (float(prices[m]) if m < days else 0.0)


def spread(problem: ChainProblem) -> tuple[tuple[int, ...], ...]:
    """A quick choice by hand: each chain in turn along its cheapest path beside all others."""
    # Those with the least choice first.
    found = Spreading(problem)
    order = sorted(
        range(len(problem.chains)),
        key=lambda k: (sum(map(len, problem.chains[k].arcs.values())), k),
    )
    total = sum(c.work_ms for c in problem.chains) + int(problem.visit_ms.sum())
    found.scale = max(1.0, total / problem.days)
    # First roughly level, then ever more for the longest morning.
    for power in POWERS:
        for _ in range(SWEEPS):
            moved = False
            for number in order:
                before = found.mornings[number]
                found.put(number, before, sign=-1)
                chain = problem.chains[number]
                after = best_path(chain, found.prices(chain, power))
                found.put(number, after)
                moved = moved or after != before
            # Loads are judged against the mean one from here on.
            found.scale = max(1.0, float(found.load.mean()))
            if not moved:
                break
    return tuple(found.mornings)


def late_chains(problem: ChainProblem, mornings: Sequence[Sequence[int]]) -> tuple[int, ...]:
    """The chains that take an arc which only want of room allows."""
    found = []
    for number, (chain, mine) in enumerate(zip(problem.chains, mornings, strict=True)):
        steps = [START, *mine]
        if any(m not in chain.arcs[b] for b, m in zip(steps, [*mine, problem.days], strict=True)):
            found.append(number)
    return tuple(found)
