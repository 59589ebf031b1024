"""Services, mornings and what can be said of them by hand: loads, bounds, a quick assignment.

Integers only: no unit, no joint, no clock. The search is in ``model_levelling``.
"""

from dataclasses import dataclass

import numpy as np

from greaseroute.errors import UnfitProblem
from greaseroute.solvers.arrays import LARGEST_SUM, IntArray
from greaseroute.solvers.result import Status

LEFT_OUT = -1


@dataclass(frozen=True, slots=True, eq=False)
class LevellingProblem:
    """N services of U units on D mornings.

    Attributes
    ----------
    work_ms : (N,)
        Time of a service, above zero.
    unit : (N,)
        Its unit, 0 to U - 1.
    first, last : (N,)
        The first and last morning it may be done on.
    weight : (N,)
        Weight lost where it is left out, above zero.
    visit_ms : (U,)
        Time of a visit whatever is done there: isolation, and the share of the walk.
    capacity_ms : (D,)
        Time there is on each morning.
    """

    work_ms: IntArray
    unit: IntArray
    first: IntArray
    last: IntArray
    weight: IntArray
    visit_ms: IntArray
    capacity_ms: IntArray


@dataclass(frozen=True, slots=True, eq=False)
class Levelling:
    """The answer: ``morning`` (N,) with ``LEFT_OUT``; ``load_ms`` (D,); what is proved.

    ``lower_ms``: no assignment that leaves out no more weight has a shorter longest morning.
    ``fewest_visits``: nor any with fewer visits that leaves nothing out. ``status`` is "optimal"
    where all three wishes are proved met.
    """

    morning: IntArray
    load_ms: IntArray
    longest_ms: int
    visits: int
    left_weight: int
    lower_ms: int
    fewest_visits: int
    status: Status


def loads(problem: LevellingProblem, morning: IntArray) -> tuple[IntArray, int]:
    """Time (D,) of each morning and the number of visits, of any assignment ``morning`` (N,)."""
    # Work of the services done, then one visit for each unit and morning.
    load = np.zeros(len(problem.capacity_ms), dtype=np.int64)
    done = morning != LEFT_OUT
    np.add.at(load, morning[done], problem.work_ms[done])
    visits = sorted(
        {(int(u), int(d)) for u, d in zip(problem.unit, morning, strict=True) if d >= 0}
    )
    for unit, day in visits:
        load[day] += problem.visit_ms[unit]
    return load, len(visits)


def _refuse(what: str, value: str, *, limit: str) -> None:
    raise UnfitProblem(
        f"levelling: {what}", value, limit=limit, next_step="mend the caller, not the data"
    )


def check(problem: LevellingProblem) -> None:
    """Raise ``UnfitProblem`` for arrays that are ragged, out of range, or too large to add up."""
    n, days, units = len(problem.work_ms), len(problem.capacity_ms), len(problem.visit_ms)
    for name in ("unit", "first", "last", "weight"):
        if getattr(problem, name).shape != (n,):
            _refuse(name, str(getattr(problem, name).shape), limit=f"({n},)")
    if days == 0:
        _refuse("capacity_ms", "no mornings", limit="one or more")
    # Ranges, then the order of the windows.
    for name, low, high in (("unit", 0, units - 1), ("first", 0, days - 1), ("last", 0, days - 1)):
        values = getattr(problem, name)
        if n and not (low <= values.min() and values.max() <= high):
            _refuse(name, f"{values.min()} to {values.max()}", limit=f"{low} to {high}")
    if n and (problem.first > problem.last).any():
        _refuse("first", "after last", limit="first <= last")
    _check_amounts(problem)


def _check_amounts(problem: LevellingProblem) -> None:
    for name, low in (("work_ms", 1), ("weight", 1), ("visit_ms", 0), ("capacity_ms", 0)):
        values = getattr(problem, name)
        if len(values) and values.min() < low:
            _refuse(name, str(values.min()), limit=f"{low} or more")
        if values.sum(dtype=object) * max(1, len(problem.capacity_ms)) > LARGEST_SUM:
            _refuse(name, f"sum {values.sum(dtype=object)}", limit="sums below 2**53")


def fewest_mornings(first: IntArray, last: IntArray) -> int:
    """Fewest mornings that meet every window: always take the last one of the next window unmet."""
    count, taken = 0, -1
    for end, start in sorted(zip(last.tolist(), first.tolist(), strict=True)):
        if start > taken:
            count, taken = count + 1, end
    return count


def fewest_visits(problem: LevellingProblem) -> int:
    """Fewest visits that the windows allow, where nothing is left out."""
    units = np.unique(problem.unit)
    mine = [problem.unit == unit for unit in units]
    return sum(fewest_mornings(problem.first[m], problem.last[m]) for m in mine)


def visits_within(problem: LevellingProblem) -> dict[tuple[int, int, int], int]:
    """Fewest visits of unit u within mornings a..b, by (u, a, b), where there are any."""
    found = {}
    days = range(len(problem.capacity_ms))
    for unit in range(len(problem.visit_ms)):
        mine = problem.unit == unit
        first, last = problem.first[mine], problem.last[mine]
        # Every span of mornings: services whose windows lie in it must be met within it.
        for a in days:
            for b in days[a:]:
                inside = (first >= a) & (last <= b)
                if inside.any():
                    found[unit, a, b] = fewest_mornings(first[inside], last[inside])
    return found


def span_bound_ms(problem: LevellingProblem) -> int:
    """A bound by hand: the services confined to mornings a..b share b - a + 1 mornings.

    Their work and the fewest visits their windows allow, over the mornings, rounded up; the best
    over all spans. Holds for every assignment that leaves nothing out.
    """
    # Every span of mornings: what must be done within it, shared evenly over it.
    best = 0
    days = len(problem.capacity_ms)
    visits = visits_within(problem)
    for a in range(days):
        for b in range(a, days):
            inside = (problem.first >= a) & (problem.last <= b)
            total = int(problem.work_ms[inside].sum())
            total += sum(
                count * int(problem.visit_ms[unit])
                for (unit, c, d), count in visits.items()
                if (c, d) == (a, b)
            )
            best = max(best, -(-total // (b - a + 1)))
    return best


def spread(problem: LevellingProblem) -> IntArray:
    """A quick assignment by hand: each service, fewest mornings and longest first, where it costs
    least; left out where no morning of its window has room."""
    days = len(problem.capacity_ms)
    load = np.zeros(days, dtype=np.int64)
    seen: set[tuple[int, int]] = set()
    morning = np.full(len(problem.work_ms), LEFT_OUT, dtype=np.int64)
    # Those with the least choice first, each to the morning that is shortest with it.
    order = np.lexsort((-problem.work_ms, problem.last - problem.first))
    for i in order:
        unit = int(problem.unit[i])
        best = None
        for day in range(int(problem.first[i]), int(problem.last[i]) + 1):
            visit = 0 if (unit, day) in seen else int(problem.visit_ms[unit])
            after = int(load[day] + problem.work_ms[i] + visit)
            if after <= problem.capacity_ms[day] and (best is None or (after, day) < best):
                best = (after, day)
        if best is not None:
            load[best[1]] = best[0]
            seen.add((unit, best[1]))
            morning[i] = best[1]
    return morning


def bundled(problem: LevellingProblem) -> tuple[LevellingProblem, IntArray]:
    """The problem with services of one unit and one window tied together, and the bundle (N,)
    each service went into. Few of the best assignments part such services."""
    # A bundle is a distinct row of unit and window; work and weight add up.
    keys = np.stack([problem.unit, problem.first, problem.last], axis=1)
    unique, bundle = np.unique(keys, axis=0, return_inverse=True)
    bundle = bundle.reshape(-1)
    work, weight = (np.zeros(len(unique), dtype=np.int64) for _ in range(2))
    np.add.at(work, bundle, problem.work_ms)
    np.add.at(weight, bundle, problem.weight)
    unit, first, last = (np.ascontiguousarray(column) for column in unique.T)
    tied = LevellingProblem(
        work_ms=work,
        unit=unit,
        first=first,
        last=last,
        weight=weight,
        visit_ms=problem.visit_ms,
        capacity_ms=problem.capacity_ms,
    )
    return tied, bundle
