"""A few units solved exactly: loss, last finish, length and shares, each least in its turn."""

from dataclasses import dataclass

import numpy as np

from greaseroute.solvers.arrays import FAR, IntArray
from greaseroute.solvers.vrp.kernels.label_setting import all_orders
from greaseroute.solvers.vrp.kernels.subset_dp import LABEL, TIME, WALK, ends_of, share_out
from greaseroute.solvers.vrp.layout import (
    END_LEVEL,
    FIRST_LEVEL,
    FULL,
    HELD,
    LOSS,
    START_MS,
    UNIT,
    Layout,
)
from greaseroute.solvers.vrp.problem import CrewProblem
from greaseroute.solvers.vrp.timetable import chain_of, most_cartridges

MOST_CELLS = 400_000  # per technician: states times ways times fillings of the bag told apart
MOST_SHARES = 400_000  # ways of sharing the units out that are looked at one by one
MOST_UNITS = 40  # more have too many states whatever else: 2**40


@dataclass(frozen=True, slots=True)
class ExactPlan:
    """Chains of kernel ways per technician, start and finish included, stores where needed."""

    chains: tuple[tuple[int, ...], ...]
    lost: int
    last_finish_ms: int


@dataclass(frozen=True, slots=True, eq=False)
class _Digits:
    """The mixed radix of states: weight and base per unit, what each level adds."""

    digit: IntArray
    level: IntArray
    states: int


def small_enough(problem: CrewProblem, layout: Layout) -> bool:
    """Whether every order and every sharing out can be gone through."""
    if problem.keep is not None and problem.change_cost_ms > 0:
        return False  # a change is counted over the order, which a state does not know
    sizes = layout.inst.unit[:, END_LEVEL] - layout.inst.unit[:, FIRST_LEVEL]
    if sizes.size > MOST_UNITS:
        return False
    states = float(np.prod(1.0 + sizes))
    shares = float(np.prod(1.0 + sizes * layout.technicians))
    loads = max(_loads(layout, t) for t in range(layout.technicians))
    return states * loads * (1 + layout.way_id.size) <= MOST_CELLS and shares <= MOST_SHARES


def solve_exactly(layout: Layout) -> ExactPlan:
    """The best plan there is; call only where ``small_enough``."""
    digits = _digits(layout)
    labels, ends, counts = [], [], []
    for t in range(layout.technicians):
        by_stores = _loads(layout, t) > 1
        label, head = all_orders(
            layout.inst, t, digits.level, digits.digit, digits.states, by_stores
        )
        end, count = ends_of(label, head, digits.states)
        labels.append(label)
        ends.append(end)
        counts.append(count)
    end, count = np.stack(ends, axis=1), np.stack(counts)
    value = np.full(4, 2**62, dtype=np.int64)
    states = np.zeros(layout.technicians, dtype=np.int64)
    pick = np.zeros(layout.units, dtype=np.int64)
    given = (end, count, *_choices(layout, digits), layout.inst.crew[:, START_MS].copy())
    share_out(*given, FAR, value, pick, states)
    cap = int(value[1])
    value[2:] = 2**62
    share_out(*given, cap, value, pick, states)
    chains = tuple(
        _chain(layout, labels[t], ends[t][:, state, : counts[t][state]], t=t, cap=cap)
        for t, state in enumerate(states.tolist())
    )
    return ExactPlan(chains, int(value[0]), cap)


def _loads(layout: Layout, t: int) -> int:
    """How many fillings of the bag have to be told apart: one, if it lasts for everything."""
    total = most_cartridges(layout, t, range(layout.store_level))
    return 1 if total <= int(layout.inst.crew[t, [FULL, HELD]].min()) else total + 1


def _digits(layout: Layout) -> _Digits:
    unit, of_level = layout.inst.unit, layout.inst.level[: layout.store_level, UNIT]
    base = 1 + unit[:, END_LEVEL] - unit[:, FIRST_LEVEL]
    weight = np.concatenate([[1], np.cumprod(base)]).astype(np.int64)
    row = np.arange(layout.store_level) - unit[of_level, FIRST_LEVEL] + 1
    level = np.stack([row * weight[of_level], of_level]).astype(np.int64)
    return _Digits(np.stack([weight[:-1], base]).astype(np.int64), level, int(weight[-1]))


def _choices(layout: Layout, digits: _Digits) -> tuple[IntArray, IntArray]:
    """What can be done with each unit: leave it out, or give a level of it to a technician."""
    rows: list[tuple[int, int, int]] = []
    first = [0]
    for begin, end, skip_loss, _ in layout.inst.unit.tolist():
        rows.append((-1, 0, skip_loss))
        rows.extend(
            (t, int(digits.level[0, level]), int(layout.inst.level[level, LOSS]))
            for t in range(layout.technicians)
            for level in range(begin, end)
        )
        first.append(len(rows))
    choice = np.array(rows, dtype=np.int64).reshape(-1, 3).T.copy()
    return choice, np.array(first, dtype=np.int64)


def _chain(layout: Layout, label: IntArray, end: IntArray, *, t: int, cap: int) -> tuple[int, ...]:
    """Ways from start to finish of the shortest walk among ends not after ``cap``."""
    in_time = np.flatnonzero(end[TIME] <= cap)
    if not in_time.size:  # cannot reach the finish, and is left out of it
        return layout.start_way(t), layout.finish_way(t)
    shortest = in_time[np.lexsort((end[TIME, in_time], end[WALK, in_time]))[0]]
    return chain_of(label, int(end[LABEL, shortest]))
