"""Compiled completion bound: the most profit that a partial round can have by a time.

A relaxation of the labels: only the unit before the last is remembered, so that no round goes to a
unit, to another and straight back (2-cycle elimination: Houck, Picard, Queyranne and Vemuganti, The
travelling salesman problem as a constrained shortest path problem, Opsearch 17 (1980) 93-109).
"""

import numpy as np
from numba import njit

from greaseroute.kernel_cache import cached_njit
from greaseroute.solvers.arrays import IntArray
from greaseroute.solvers.vrp.columns.kernels.labels import (
    BEFORE,
    MOST,
    NO_UNIT,
    OWN,
    SECOND,
    Direction,
    Labels,
    Masks,
    Rules,
    moved,
)

NOBODY = -1  # no partial round ends there by then
UNKNOWN = -2  # in place of the unit before
BEFORE_SECOND = 3  # after the parts of a completion bound: the unit before the second best


@njit(nogil=True)
def _note(best: IntArray, cell: int, x: int, profit: int, before: int) -> None:
    """Take a profit into the two best of an exit in a cell."""
    if profit > best[cell, x, MOST]:
        if before != best[cell, x, BEFORE]:
            best[cell, x, SECOND] = best[cell, x, MOST]
            best[cell, x, BEFORE_SECOND] = best[cell, x, BEFORE]
        best[cell, x, MOST], best[cell, x, BEFORE] = profit, before
    elif before != best[cell, x, BEFORE] and profit > best[cell, x, SECOND]:
        best[cell, x, SECOND], best[cell, x, BEFORE_SECOND] = profit, before


@njit(nogil=True)
def _begin(
    d: Direction, r: Rules, profits: IntArray, moves: Masks, known: int, k: Labels, best: IntArray
) -> None:
    """Labels in the first ``known`` cells, and first visits after them.

    A label whose unit before is not remembered may stand for others that it dominates, which come
    from elsewhere: nothing is excluded after it.
    """
    for row in range(k.counts[0] if known > 0 else 0):
        cell, before = k.time[row] // r.cell_ms, k.before[row]
        if cell < known:
            unit = d.exit_unit[k.exit[before]] if before >= 0 else NO_UNIT
            if unit >= 0 and moved(moves, unit, d.exit_unit[k.exit[row]], OWN) == 0:
                unit = NO_UNIT
            _note(best, cell, k.exit[row], k.profit[row], unit)
    for i in range(d.start_exit.shape[0]):
        x, cell = d.start_exit[i], d.start_ms[i] // r.cell_ms
        if d.start_ms[i] <= min(d.late_ms[x], r.horizon_ms) and known <= cell:
            _note(best, cell, x, profits[d.exit_unit[x]], NO_UNIT)


@njit(nogil=True)
def _came_sooner(best: IntArray, cell: int, x: int) -> bool:
    """Take over what is there a cell before; whether that is all there is."""
    if cell == 0:
        return best[cell, x, MOST] < 0  # type: ignore[no-any-return]
    sooner = cell - 1
    _note(best, cell, x, best[sooner, x, MOST], best[sooner, x, BEFORE])
    _note(best, cell, x, best[sooner, x, SECOND], best[sooner, x, BEFORE_SECOND])
    same = best[cell, x, MOST] == best[sooner, x, MOST]
    return same and best[cell, x, SECOND] == best[sooner, x, SECOND]  # type: ignore[no-any-return]


@cached_njit
def most_profit(
    d: Direction, r: Rules, profits: IntArray, moves: Masks, cells: int, known: int, k: Labels
) -> IntArray:
    """(cells, X, 4) the most profit of a partial round that ends at an exit within so many cells.

    Then the unit before, the most after another unit, and that unit; as in ``Beyond``. Times are
    rounded down to whole cells at every arc, so that no answer is too small. In the first ``known``
    cells the labels ``k`` tell it. An arc must take a cell at least.
    """
    exits = d.exit_unit.shape[0]
    best = np.full((cells, exits, 4), NOBODY, np.int64)
    best[:, :, BEFORE], best[:, :, BEFORE_SECOND] = UNKNOWN, UNKNOWN
    _begin(d, r, profits, moves, known, k, best)
    arc_cells, early = d.arc_ms // r.cell_ms, d.early_ms // r.cell_ms
    # rounded down as all times are here
    last = np.minimum(d.late_ms // r.cell_ms, cells - 1)
    for cell in range(cells):
        for x in range(exits):
            if _came_sooner(best, cell, x):
                continue  # it has been carried on from the cell before
            most, before, second = best[cell, x, MOST], best[cell, x, BEFORE], best[cell, x, SECOND]
            # the second best where the best would go straight back
            unit = d.exit_unit[x]
            for bundle in range(d.first_bundle[x], d.first_bundle[x + 1]):
                to = d.bundle_unit[bundle]
                profit = second if before == to else most
                if profit < 0:
                    continue
                for arc in range(d.first_arc[bundle], d.first_arc[bundle + 1]):
                    y = d.arc_head[arc]
                    then = max(cell + arc_cells[arc], early[y])
                    if known <= then <= last[y]:
                        _note(best, then, y, profit + profits[to], unit)
    return best
