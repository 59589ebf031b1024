"""Store visits of one technician's order, placed exactly where the search placed them about."""

import numpy as np

from greaseroute.solvers.vrp.kernels.reloads import place_stores
from greaseroute.solvers.vrp.kernels.route import LEVEL, STOPS
from greaseroute.solvers.vrp.layout import CrewArrays


def exact_levels(a: CrewArrays, t: int, levels: list[int]) -> list[int]:
    """The order with its store visits where the finish is earliest; unchanged if it has none.

    Every placing that the search can find is among those gone through, so none is ever lost.
    """
    store = a.level_unit.size
    if store not in levels:
        return levels
    units = [level for level in levels if level != store]
    n = len(units)
    slots = np.full((4, 2 * n), -1, dtype=np.int64)
    slots[LEVEL, :n] = units
    seq = np.zeros((a.start_ms.size, 2 * n), dtype=np.int64)
    seq[t, :n] = np.arange(n)
    tech = np.zeros((4, a.start_ms.size), dtype=np.int64)
    tech[STOPS, t] = n
    way = np.concatenate([np.stack([a.way_enter, a.way_leave, a.way_lo, a.way_hi]), a.way_ms])
    bag = np.concatenate([a.bag[:, None], a.start_ms[:, None]], axis=1)
    ways = int(np.diff(a.level_first).max())
    if not place_stores(
        way,
        a.level_first,
        a.travel,
        a.phase_from,
        seq,
        tech,
        slots,
        t,
        _used(a, t, units),
        bag,
        ways,
        store,
        n,
    ):
        return levels
    return [int(slots[LEVEL, slot]) for slot in seq[t, : tech[STOPS, t]]]


def _used(a: CrewArrays, t: int, levels: list[int]) -> np.ndarray[tuple[int], np.dtype[np.int64]]:
    strokes = np.zeros((len(levels), a.level_strokes.shape[1]), dtype=np.int64)
    strokes[1:-1] = np.cumsum(a.level_strokes[levels[1:-1]], axis=0)
    if len(levels) > 1:
        strokes[-1] = strokes[-2]
    over = np.maximum(0, strokes - a.gun_left[t])
    used = (-(-over // a.cartridge[t])).sum(axis=1) + a.bag_gone[t]
    return np.ascontiguousarray(used.astype(np.int64))
