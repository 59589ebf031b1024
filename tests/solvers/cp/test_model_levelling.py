"""Levelling against enumeration of every assignment, and one rule at a time."""

from itertools import product

import numpy as np
import pytest

from greaseroute.errors import UnfitProblem
from greaseroute.solvers.cp.levelling import (
    LEFT_OUT,
    LevellingProblem,
    check,
    fewest_mornings,
    loads,
    span_bound_ms,
)
from greaseroute.solvers.cp.levelling_model import level


def _ints(values):
    return np.array(values, dtype=np.int64)


def _problem(services, *, visit, capacity):
    """``services``: rows of (work, unit, first, last, weight)."""
    columns = list(zip(*services, strict=True)) or [()] * 5
    work, unit, first, last, weight = (_ints(column) for column in columns)
    return LevellingProblem(
        work_ms=work,
        unit=unit,
        first=first,
        last=last,
        weight=weight,
        visit_ms=_ints(visit),
        capacity_ms=_ints(capacity),
    )


def _enumerated(problem):
    """(left weight, longest, visits) of the best of all assignments, in that order."""
    choices = [
        [LEFT_OUT, *range(a, b + 1)] for a, b in zip(problem.first, problem.last, strict=True)
    ]
    best = None
    for choice in product(*choices):
        morning = _ints(choice)
        load, visits = loads(problem, morning)
        if (load <= problem.capacity_ms).all():
            left = int(problem.weight[morning == LEFT_OUT].sum())
            key = (left, int(load.max()), visits)
            best = key if best is None or key < best else best
    return best


def _random_problem(seed):
    rng = np.random.default_rng(seed)
    n, units, days = int(rng.integers(2, 8)), int(rng.integers(1, 4)), int(rng.integers(1, 4))
    first = rng.integers(0, days, n)
    last = np.minimum(days - 1, first + rng.integers(0, 3, n))
    rows = zip(
        rng.integers(1, 20, n),
        rng.integers(0, units, n),
        first,
        last,
        rng.integers(1, 9, n),
        strict=True,
    )
    capacity = rng.integers(15, 60, days)
    return _problem(list(rows), visit=rng.integers(0, 10, units), capacity=capacity)


@pytest.mark.parametrize("seed", range(60))
def test_as_good_as_every_assignment_enumerated(seed):
    problem = _random_problem(seed)
    answer = level(problem)
    assert (answer.left_weight, answer.longest_ms, answer.visits) == _enumerated(problem)
    assert answer.status == "optimal"
    assert answer.lower_ms == answer.longest_ms
    assert answer.fewest_visits <= answer.visits


@pytest.mark.parametrize("seed", range(60))
def test_the_bound_by_hand_is_never_above_the_best(seed):
    problem = _random_problem(seed)
    roomy = LevellingProblem(
        **{
            name: getattr(problem, name)
            for name in ("work_ms", "unit", "first", "last", "weight", "visit_ms")
        },
        capacity_ms=np.full_like(problem.capacity_ms, 10_000),
    )
    best = _enumerated(roomy)
    assert span_bound_ms(roomy) <= best[1]


def test_two_free_services_of_two_units_go_to_two_mornings():
    # together 10 + 10, apart 10
    problem = _problem([(10, 0, 0, 1, 1), (10, 1, 0, 1, 1)], visit=[0, 0], capacity=[99, 99])
    assert level(problem).longest_ms == 10


def test_a_window_alone_keeps_them_together():
    problem = _problem([(10, 0, 0, 0, 1), (10, 1, 0, 0, 1)], visit=[0, 0], capacity=[99, 99])
    assert level(problem).longest_ms == 20


def test_two_services_of_one_unit_share_a_visit():
    # apart 4 + 7 = 11 on each morning; together 8 + 7 = 15: apart is shorter, two visits;
    # beside a fixed morning of 15 both fit on the other one: one visit is enough
    free = [(4, 0, 0, 1, 1), (4, 0, 0, 1, 1)]
    assert level(_problem(free, visit=[7], capacity=[99, 99])).visits == 2
    beside = [*free, (15, 1, 0, 0, 1)]
    answer = level(_problem(beside, visit=[7, 0], capacity=[99, 99]))
    assert (answer.longest_ms, answer.visits) == (15, 2)
    assert answer.morning.tolist() == [1, 1, 0]


def test_a_morning_without_room_leaves_out_the_least_weight():
    problem = _problem([(10, 0, 0, 0, 3), (10, 1, 0, 0, 2)], visit=[0, 0], capacity=[15])
    answer = level(problem)
    assert answer.morning.tolist() == [0, LEFT_OUT]
    assert answer.left_weight == 2


def test_the_bound_by_hand_counts_the_visits_that_windows_ask():
    # one unit, windows 0..1 and 2..3 cannot share a morning: 2 visits of 6, 1 + 1 of work, over
    # four mornings 14 / 4 = 3.5 -> 4; each half alone (6 + 1) / 2 = 3.5 -> 4
    problem = _problem([(1, 0, 0, 1, 1), (1, 0, 2, 3, 1)], visit=[6], capacity=[99] * 4)
    assert span_bound_ms(problem) == 4
    assert fewest_mornings(problem.first, problem.last) == 2


def test_a_large_case_is_close_to_its_bound():
    """Forty units of ten joints on seven mornings: bundles stay within 3 % of the bound."""
    rng = np.random.default_rng(3)
    rows = []
    for unit in range(40):
        for _ in range(10):
            due = int(rng.integers(0, 7))
            early = int(rng.integers(0, 3))
            rows.append((int(rng.integers(20, 120)), unit, max(0, due - early), due, 1))
    problem = _problem(rows, visit=[200] * 40, capacity=[10**6] * 7)
    answer = level(problem, work=0.3)
    assert answer.left_weight == 0
    assert answer.longest_ms <= 1.03 * answer.lower_ms
    assert ((problem.first <= answer.morning) & (answer.morning <= problem.last)).all()


def test_nothing_to_do():
    answer = level(_problem([], visit=[5], capacity=[10, 10]))
    assert (answer.longest_ms, answer.visits, answer.status) == (0, 0, "optimal")


def test_it_repeats():
    problem = _random_problem(7)
    assert (level(problem).morning == level(problem).morning).all()


@pytest.mark.parametrize(
    ("change", "told"),
    [
        ({"work_ms": [0, 1]}, r"levelling: work_ms: 0; allowed: 1 or more"),
        ({"first": [0, 5]}, r"levelling: first: 0 to 5; allowed: 0 to 1"),
        ({"last": [0]}, r"levelling: last: \(1,\); allowed: \(2,\)"),
        ({"first": [1, 1], "last": [0, 1]}, r"levelling: first: after last"),
        ({"capacity_ms": []}, r"levelling: capacity_ms: no mornings"),
        ({"visit_ms": [2**60]}, r"levelling: visit_ms: sum 1152921504606846976"),
    ],
)
def test_unfit_numbers_are_refused(change, told):
    good = {
        "work_ms": [1, 1],
        "unit": [0, 0],
        "first": [0, 0],
        "last": [1, 1],
        "weight": [1, 1],
        "visit_ms": [0],
        "capacity_ms": [9, 9],
    }
    arrays = {name: _ints(values) for name, values in {**good, **change}.items()}
    with pytest.raises(UnfitProblem, match=told):
        check(LevellingProblem(**arrays))
