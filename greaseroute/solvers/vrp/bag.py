"""What a bag means for a lower bound: cartridges put in, and store visits.

Whoever visits units that take s strokes of a gun kind puts in at least (s - strokes left in the
gun) / (strokes of a cartridge) cartridges, a whole number; a bag gives what it holds at the start
and a full bag more for every store visit.
"""

from dataclasses import dataclass

import numpy as np

from greaseroute.solvers.arrays import IntArray
from greaseroute.solvers.vrp.layout import usable_way_ms
from greaseroute.solvers.vrp.problem import CrewProblem


@dataclass(frozen=True, slots=True, eq=False)
class Bag:
    """One technician's bag.

    Attributes
    ----------
    strokes : (units, G)
        At the fewest.
    cartridge, left : (G,)
        Strokes of a cartridge; strokes left in the guns at the start.
    change_ms : (G,)
        Time to put in a cartridge.
    held, full : int
        Cartridges at the start, and in a full bag.
    """

    strokes: IntArray
    cartridge: IntArray
    left: IntArray
    change_ms: IntArray
    held: int
    full: int

    def store_visits(self, units: IntArray) -> int:
        """Store visits at least for these units."""
        # Whole cartridges of each gun, less those in the bag, in whole bags.
        short = int(self._put_in(units).sum()) - self.held
        return max(0, -(-short // self.full)) if self.full > 0 else 0

    def changing_ms(self, units: IntArray) -> int:
        """Time of whole cartridge changes at least for these units."""
        return int((self._put_in(units) * self.change_ms).sum())

    def _put_in(self, units: IntArray) -> IntArray:
        """(G,) cartridges at least for these units."""
        need = np.maximum(0, self.strokes[units].sum(axis=0) - self.left)
        put_in: IntArray = -(-need // self.cartridge)
        return put_in


def bag_of(problem: CrewProblem, t: int, ways: IntArray) -> Bag:
    """The bag of technician t; ``ways`` sorted by unit."""
    ways = ways[usable_way_ms(problem)[t, ways] >= 0]
    strokes = np.zeros((problem.units, problem.way_strokes.shape[1]), dtype=np.int64)
    first = np.flatnonzero(np.diff(problem.way_unit[ways], prepend=-1))
    strokes[problem.way_unit[ways][first]] = np.minimum.reduceat(problem.way_strokes[ways], first)
    held, left = at_start(problem)
    full = int(problem.bag_cartridges[t])
    size = problem.cartridge_strokes[t]
    change = np.zeros_like(size) if problem.change_ms is None else problem.change_ms[t]
    return Bag(strokes, size, left[t], change, int(held[t]), full)


def at_start(problem: CrewProblem) -> tuple[IntArray, IntArray]:
    """Cartridges held (T,) and strokes left in the guns (T, G) at the start."""
    held = problem.bag_cartridges if problem.bag_at_start is None else problem.bag_at_start
    left = problem.gun_left_strokes
    return held, np.zeros_like(problem.cartridge_strokes) if left is None else left


def may_run_out(problem: CrewProblem, who: IntArray, ways: IntArray) -> bool:
    """Whether some technician's bag might not last for all units, each at its most strokes."""
    if not problem.way_strokes.shape[1]:
        return False
    first = np.flatnonzero(np.diff(problem.way_unit[ways], prepend=-1))
    most = np.maximum.reduceat(problem.way_strokes[ways], first, axis=0).sum(axis=0)
    held, left = at_start(problem)
    # As if one technician visited all units, each by its way of most strokes.
    need = -(-np.maximum(0, most - left[who]) // problem.cartridge_strokes[who])
    return bool((need.sum(axis=1) > held[who]).any())
