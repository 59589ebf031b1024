"""A few units solved exactly: loss, last finish, length and shares, each least in its turn."""

from dataclasses import dataclass

import numpy as np

from greaseroute.solvers.vrp.kernels.subset_dp import (
    CAME,
    LABELS,
    TIME,
    WALK,
    all_orders,
    share_out,
)
from greaseroute.solvers.vrp.layout import FAR_MS, CrewArrays
from greaseroute.solvers.vrp.problem import CrewProblem, IntArray

MOST_CELLS = 400_000  # per technician; 24 bytes for each of the labels of a cell
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


def small_enough(problem: CrewProblem, a: CrewArrays) -> bool:
    """Whether every order and every sharing out can be gone through."""
    if problem.keep is not None and problem.change_cost_ms > 0:
        return False  # a change is counted over the order, which a state does not know
    sizes = np.diff(a.unit_first)
    if sizes.size > MOST_UNITS:
        return False
    states = float(np.prod(1.0 + sizes))
    shares = float(np.prod(1.0 + sizes * a.start_ms.size))
    loads = max(_loads(a, t) for t in range(a.start_ms.size))
    return states * loads * (1 + a.way_id.size) <= MOST_CELLS and shares <= MOST_SHARES


def solve_exactly(a: CrewArrays) -> ExactPlan:
    """The best plan there is; call only where ``small_enough``."""
    digits = _digits(a)
    tables = [_table(a, digits, t) for t in range(a.start_ms.size)]
    end_label = np.stack([table[2] for table in tables], axis=1)
    end_count = np.stack([table[3] for table in tables])
    choice, first_choice = _choices(a, digits)
    value = np.array([2**62, 2**62, 2**62, 2**62], dtype=np.int64)
    states = np.zeros(a.start_ms.size, dtype=np.int64)
    pick = np.zeros(a.skip_loss.size, dtype=np.int64)
    given = (end_label, end_count, choice, first_choice, a.start_ms)
    share_out(*given, FAR_MS, value, pick, states)
    cap = int(value[1])
    value[2:] = 2**62
    share_out(*given, cap, value, pick, states)
    chains = tuple(
        _chain(a, tables[t], t, state=int(states[t]), cap=cap) for t in range(a.start_ms.size)
    )
    return ExactPlan(chains, int(value[0]), cap)


def _loads(a: CrewArrays, t: int) -> int:
    """How many fillings of the bag have to be told apart: one, if it lasts for everything."""
    total = int(_put_in(a, t, _most_strokes(a)[None, :])[0])
    return 1 if total <= int(a.bag[t]) else total + 1


def _most_strokes(a: CrewArrays) -> IntArray:
    most = np.zeros(a.level_strokes.shape[1], dtype=np.int64)
    for u in range(a.skip_loss.size):
        rows = a.level_strokes[a.unit_first[u] : a.unit_first[u + 1]]
        most += rows.max(axis=0) if rows.size else 0
    return most


def _put_in(a: CrewArrays, t: int, strokes: IntArray) -> IntArray:
    over = np.maximum(0, strokes - a.gun_left[t])
    total: IntArray = (-(-over // a.cartridge[t])).sum(axis=1) + a.bag_gone[t]
    return total


def _digits(a: CrewArrays) -> _Digits:
    base = 1 + np.diff(a.unit_first)
    weight = np.concatenate([[1], np.cumprod(base)]).astype(np.int64)
    row = np.arange(a.level_unit.size) - a.unit_first[a.level_unit] + 1
    add = row * weight[a.level_unit]
    digit = np.stack([weight[:-1], base]).astype(np.int64)
    return _Digits(digit, np.stack([add, a.level_unit]).astype(np.int64), int(weight[-1]))


Table = tuple[IntArray, IntArray, IntArray, IntArray]


def _table(a: CrewArrays, digits: _Digits, t: int) -> Table:
    """Cells and finishes of one technician: labels and counts of each."""
    loads, ways, states = _loads(a, t), a.way_id.size, digits.states
    label = np.zeros((3, states * loads * (ways + 1), LABELS), dtype=np.int64)
    count = np.zeros(label.shape[1], dtype=np.int64)
    end_label = np.zeros((3, states, LABELS), dtype=np.int64)
    end_count = np.zeros(states, dtype=np.int64)
    way = np.concatenate([np.stack([a.way_enter, a.way_leave, a.way_lo, a.way_hi]), a.way_ms])
    rules = np.array([a.bag[t], loads, ways], dtype=np.int64)
    used = _put_in(a, t, _strokes_of_states(a, digits))
    # with one load for all, only a state that its bag cannot carry would matter: there is none
    all_orders(
        way,
        a.level_first,
        a.travel,
        a.length,
        a.phase_from,
        digits.level,
        digits.digit,
        used,
        rules,
        t,
        label,
        count,
        end_label,
        end_count,
    )
    return label, count, end_label, end_count


def _strokes_of_states(a: CrewArrays, digits: _Digits) -> IntArray:
    states = np.arange(digits.states)
    strokes = np.zeros((digits.states, a.level_strokes.shape[1]), dtype=np.int64)
    for u in range(a.skip_loss.size):
        row = (states // digits.digit[0, u]) % digits.digit[1, u]
        of_unit = a.level_strokes[a.unit_first[u] : a.unit_first[u + 1]]
        padded = np.concatenate([np.zeros((1, strokes.shape[1]), dtype=np.int64), of_unit])
        strokes += padded[row]
    return strokes


def _choices(a: CrewArrays, digits: _Digits) -> tuple[IntArray, IntArray]:
    rows: list[tuple[int, int, int, int]] = []
    first = [0]
    for u in range(a.skip_loss.size):
        rows.append((-1, 0, int(a.skip_loss[u]), u))
        rows.extend(
            (t, int(digits.level[0, level]), int(a.level_loss[level]), u)
            for t in range(a.start_ms.size)
            for level in range(a.unit_first[u], a.unit_first[u + 1])
        )
        first.append(len(rows))
    choice = np.array(rows, dtype=np.int64).reshape(-1, 4).T.copy()
    return choice, np.array(first, dtype=np.int64)


def _chain(a: CrewArrays, table: Table, t: int, *, state: int, cap: int) -> tuple[int, ...]:
    """Ways from start to finish of the shortest walk that ends a state not after ``cap``."""
    label, _, end_label, end_count = table
    levels, n_tech, ways = a.level_unit.size, a.start_ms.size, a.way_id.size
    start, store0 = int(a.level_first[levels + 1]) + t, int(a.level_first[levels])
    branch = 1 + int(a.level_first[levels + 1]) - store0
    ends = [
        (int(end_label[WALK, state, k]), int(end_label[TIME, state, k]), k)
        for k in range(int(end_count[state]))
        if end_label[TIME, state, k] <= cap
    ]
    chain = [start + n_tech]
    if not ends:
        return (start, start + n_tech)
    at = int(end_label[CAME, state, min(ends)[2]])
    while at >= (ways + 1) * LABELS:
        cell, k = divmod(at, LABELS)
        chain.append(cell % (ways + 1))
        at, store = divmod(int(label[CAME, cell, k]), branch)
        if store:
            chain.append(store0 + store - 1)
    return (start, *reversed(chain))
