"""Least times between units, whichever way is taken: for neighbours and for first plans."""

from dataclasses import dataclass

import numpy as np

from greaseroute.solvers.arrays import FAR, IntArray
from greaseroute.solvers.vrp.layout import END_WAY, ENTER, FIRST_WAY, LEAVE, UNIT, WORK, Layout

SHORT_LEGS = 3  # nearest units that count for the length of a short leg


@dataclass(frozen=True, slots=True, eq=False)
class Tables:
    """Least times in ms over ways, hours and sorts of walkers; ``FAR`` where there is no path.

    ``apart_ms`` (U, U) walking from one unit to another, ``from_start_ms`` and ``to_finish_ms``
    (T, U) from and to each technician's ends, ``work_ms`` (U,) at a unit, ``technician_work_ms``
    (T, U) for each technician (``FAR`` for who cannot). ``short_leg_ms`` is the mean leg between
    neighbours, ``mean_round_ms`` the time of a round if all work and as many short legs are shared.
    """

    apart_ms: IntArray
    from_start_ms: IntArray
    to_finish_ms: IntArray
    work_ms: IntArray
    technician_work_ms: IntArray
    short_leg_ms: float
    mean_round_ms: float


def tables_of(layout: Layout) -> Tables:
    """The tables of a problem laid out for the kernels."""
    inst, n_units = layout.inst, layout.way_id.size
    walk = inst.travel.min(axis=(0, 1))
    unit_ways = _unit_ways(layout)
    enter, leave = inst.way[ENTER], inst.way[LEAVE]
    legs = walk[leave[:n_units, None], enter[None, :n_units]]
    apart = _least(_least(legs, unit_ways, axis=0), unit_ways, axis=1)
    ends = [layout.start_way(t) for t in range(layout.technicians)]
    homes = [layout.finish_way(t) for t in range(layout.technicians)]
    out = walk[leave[ends][:, None], enter[None, :n_units]]
    back = walk[leave[:n_units, None], enter[homes][None, :]].T
    work = np.where(inst.way[WORK:, :n_units] < 0, FAR, inst.way[WORK:, :n_units])
    work = _least(work, unit_ways, axis=1)
    np.fill_diagonal(apart, 0)
    short_leg = _short_leg(apart)
    least_work = work.min(axis=0)
    some = least_work[least_work < FAR]
    return Tables(
        apart_ms=apart,
        from_start_ms=_least(out, unit_ways, axis=1),
        to_finish_ms=_least(back, unit_ways, axis=1),
        work_ms=least_work,
        technician_work_ms=work,
        short_leg_ms=short_leg,
        mean_round_ms=(float(some.sum()) + some.size * short_leg) / layout.technicians,
    )


def _unit_ways(layout: Layout) -> IntArray:
    """(U + 1,) where the ways of each unit begin."""
    level = layout.inst.level[: layout.store_level]
    owner = np.repeat(level[:, UNIT], level[:, END_WAY] - level[:, FIRST_WAY])
    return np.searchsorted(owner, np.arange(layout.units + 1)).astype(np.int64)


def _least(table: IntArray, first: IntArray, *, axis: int) -> IntArray:
    """Least over the ways of each unit; ``FAR`` for a unit without any."""
    units = first.size - 1
    shape = list(table.shape)
    shape[axis] = units
    least = np.full(shape, FAR, dtype=np.int64)
    some = np.flatnonzero(np.diff(first) > 0)
    if some.size:
        found = np.minimum.reduceat(table, first[some], axis=axis)
        if axis == 0:
            least[some] = found
        else:
            least[:, some] = found
    return least


def _short_leg(apart: IntArray) -> float:
    """Mean of the legs from each unit to its nearest few."""
    if apart.shape[0] < 2:
        return 0.0
    legs = np.sort(np.where(np.eye(apart.shape[0], dtype=bool), FAR, apart), axis=1)
    legs = legs[:, :SHORT_LEGS]
    legs = legs[legs < FAR]
    return float(legs.mean()) if legs.size else 0.0
