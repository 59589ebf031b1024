"""First orders for the search: giant tours split, sweeps split, the plan before, none at all.

A giant tour visits all units in one round; a sweep takes them by their direction from the start.
Both are split into one part per technician so that the last finish is earliest (Beasley 1983,
route first and cluster second, with the last finish in place of the sum). Directions come from a
map of the walking times in two dimensions (classical scaling, Torgerson 1952), since the solver
knows no coordinates.
"""

from dataclasses import dataclass

import numpy as np

from greaseroute.solvers.arrays import FAR, FloatArray, IntArray
from greaseroute.solvers.vrp.layout import START_MS, Layout
from greaseroute.solvers.vrp.on_time import order_on_time
from greaseroute.solvers.vrp.problem import CrewProblem
from greaseroute.solvers.vrp.tables import Tables

BISECTIONS = 30  # of the last finish, for one split
ROTATIONS = 12  # places where a tour is cut open


@dataclass(frozen=True, slots=True)
class Order:
    """Units of each technician in order; ``kept`` where they are the plan before."""

    units: tuple[tuple[int, ...], ...]
    kept: bool = False


def first_orders(
    problem: CrewProblem, layout: Layout, tables: Tables, *, seed: int, count: int, clock: bool
) -> list[Order]:
    """So many first orders of different kinds; the plan before comes first where there is one.

    With a ``clock`` every second one is an order in which nobody is late, if one is found; one
    that is little late is left to a single start.
    """
    rng = np.random.default_rng(seed)
    nothing = tuple(() for _ in range(layout.technicians))
    tour = giant_tour(tables, first=int(rng.integers(max(1, layout.units))))
    angle = sweep(tables)
    found = [Order(problem.keep, kept=True)] if problem.keep is not None else []
    timely = order_on_time(layout, seed=seed) if clock and layout.units > 1 else None
    rank = np.empty(layout.units, dtype=np.int64)
    rank[tour] = np.arange(layout.units)
    for k in range(count - len(found)):
        if timely is not None and (k == 0 or (k % 2 == 0 and timely.late_ms == 0)):
            found.append(Order(timely.units))
            continue
        kind = k % 3
        if kind == 2 or layout.units < 2:
            found.append(Order(nothing))
            continue
        order = tour if kind == 0 else angle
        cut = int(rng.integers(layout.units))
        parts = best_split(tables, layout, order=np.roll(order, -cut))
        if kind == 1:  # a sector in the order of the giant tour
            parts = tuple(tuple(sorted(part, key=lambda u: int(rank[u]))) for part in parts)
        found.append(Order(parts))
    return found[:count]


def giant_tour(tables: Tables, *, first: int) -> IntArray:
    """One round through all units: nearest neighbours, then moved while it gets shorter."""
    apart = tables.apart_ms
    n = apart.shape[0]
    order, left = [], np.ones(n, dtype=bool)
    here = first
    for _ in range(n):
        order.append(here)
        left[here] = False
        here = int(np.where(left, apart[here], 2**62).argmin())
    return np.array(order, dtype=np.int64)


def sweep(tables: Tables) -> IntArray:
    """Units by their direction from the first technician's start on a map of walking times."""
    there = np.minimum(tables.apart_ms, tables.apart_ms.T)
    out = tables.from_start_ms[0]
    whole = np.block([[np.zeros((1, 1), dtype=np.int64), out[None, :]], [out[:, None], there]])
    known = whole < FAR
    far = float(whole[known].max(initial=1))
    squares = np.where(known, whole, far).astype(np.float64) ** 2
    middle = squares - squares.mean(axis=0) - squares.mean(axis=1)[:, None] + squares.mean()
    value, vector = np.linalg.eigh(-0.5 * middle)
    plane = vector[:, -2:] * np.sqrt(np.maximum(value[-2:], 0.0))
    plane = plane - plane[0]
    return np.argsort(np.arctan2(plane[1:, 0], plane[1:, -1]), kind="stable").astype(np.int64)


def best_split(tables: Tables, layout: Layout, *, order: IntArray) -> tuple[tuple[int, ...], ...]:
    """The order cut open at some place and split so that the last finish is earliest."""
    n = order.size
    best: tuple[float, tuple[tuple[int, ...], ...]] | None = None
    for cut in np.unique(np.linspace(0, n - 1, min(ROTATIONS, n)).astype(np.int64)):
        last, parts = split(tables, layout, order=np.roll(order, -int(cut)))
        if best is None or last < best[0]:
            best = (last, parts)
    assert best is not None
    return best[1]


def split(
    tables: Tables, layout: Layout, *, order: IntArray
) -> tuple[float, tuple[tuple[int, ...], ...]]:
    """Consecutive parts for the technicians in turn; the last finish by least times, in ms."""
    work = tables.work_ms[order].astype(np.float64)
    legs = tables.apart_ms[order[:-1], order[1:]].astype(np.float64)
    upto = np.concatenate([[0.0], np.cumsum(work[:-1] + np.minimum(legs, 1e15))])
    low, high = 0.0, 4.0 * float(upto[-1] + work[-1]) + 1e6 + 4.0 * _longest(tables)
    best = _parts(tables, layout, order=order, ends=upto + work, limit=high)
    for _ in range(BISECTIONS):
        middle = (low + high) / 2
        parts = _parts(tables, layout, order=order, ends=upto + work, limit=middle)
        if sum(map(len, parts)) == order.size:
            best, high = parts, middle
        else:
            low = middle
    return high, best


def _longest(tables: Tables) -> float:
    legs = np.concatenate([tables.from_start_ms[0], tables.to_finish_ms[0]])
    return float(legs[legs < FAR].max(initial=0))


def _parts(
    tables: Tables, layout: Layout, *, order: IntArray, ends: FloatArray, limit: float
) -> tuple[tuple[int, ...], ...]:
    """As many units in a row as each technician can do by a limit; ``ends`` since the first."""
    parts: list[tuple[int, ...]] = []
    i = 0
    for t in range(layout.technicians):
        if i == order.size:
            parts.append(())
            continue
        begin = float(layout.inst.crew[t, START_MS]) + float(tables.from_start_ms[t, order[i]])
        work = float(tables.work_ms[order[i]])
        finish = begin + work + ends[i:] - ends[i] + tables.to_finish_ms[t, order[i:]]
        within = np.flatnonzero(finish <= limit)
        count = int(within[-1]) + 1 if within.size else 0
        parts.append(tuple(int(u) for u in order[i : i + count]))
        i += count
    return tuple(parts)
