"""The learner's choice against enumeration of every choice, and one rule at a time."""

from itertools import product

import numpy as np
import pytest

from greaseroute.errors import UnfitProblem
from greaseroute.solvers.cp.coverage import CoverageProblem, check, total_ms
from greaseroute.solvers.cp.coverage_model import cover


def _ints(values):
    return np.array(values, dtype=np.int64)


def _problem(joints, *, visit, show, window):
    """``joints``: rows of (times, pair, kind, unit)."""
    return CoverageProblem(
        time_ms=_ints([j[0] for j in joints]).reshape(len(joints), -1),
        pair=_ints([j[1] for j in joints]),
        kind=_ints([j[2] for j in joints]),
        unit=_ints([j[3] for j in joints]),
        visit_ms=_ints(visit),
        show_ms=_ints(show),
        window_ms=window,
    )


def _enumerated(problem):
    """(pairs, total) of the best choice with at most one of each pair: most pairs, least time."""
    best = (0, 0)
    for choice in product([False, True], repeat=len(problem.pair)):
        chosen = np.array(choice)
        pairs = problem.pair[chosen]
        if len(set(pairs.tolist())) < len(pairs):
            continue
        total = total_ms(problem, chosen)
        if total <= problem.window_ms and (len(pairs), -total) > (best[0], -best[1]):
            best = (len(pairs), total)
    return best


def _random_problem(seed):
    rng = np.random.default_rng(seed)
    n, units, families, kinds = (int(rng.integers(2, k)) for k in (11, 5, 4, 4))
    joints = []
    for _ in range(n):
        family, kind = int(rng.integers(0, families)), int(rng.integers(0, kinds))
        standard = int(rng.integers(5, 60))
        times = [int(standard * max(1.0, 2.5 * k**-0.23)) for k in range(1, families + 1)]
        joints.append((times, family * kinds + kind, kind, int(rng.integers(0, units))))
    return _problem(
        joints,
        visit=rng.integers(0, 60, units),
        show=rng.integers(0, 30, families * kinds),
        window=int(rng.integers(100, 700)),
    )


@pytest.mark.parametrize("seed", range(60))
def test_as_good_as_every_choice_enumerated(seed):
    problem = _random_problem(seed)
    answer = cover(problem)
    assert (answer.pairs, answer.total_ms) == _enumerated(problem)
    assert answer.status == "optimal"
    assert answer.total_ms == total_ms(problem, answer.chosen)
    assert (answer.most_pairs, answer.lower_ms) == (answer.pairs, answer.total_ms)


def test_the_second_of_a_kind_takes_less():
    # two families, one kind: 50 as the first, 40 as the second: 50 + 40
    answer = cover(_problem([((50, 40), 0, 0, 0), ((50, 40), 1, 0, 0)], visit=[0], show=[0, 0],
                            window=999))  # fmt: skip
    assert answer.total_ms == 90


def test_a_pair_is_met_once():
    # two joints of one pair: the shorter one alone
    answer = cover(_problem([((50,), 0, 0, 0), ((30,), 0, 0, 0)], visit=[0], show=[0], window=999))
    assert answer.chosen.tolist() == [False, True]


def test_coverage_comes_before_minutes():
    # with 100 there is room for both (45 + 45) or the cheap one alone (45): both
    answer = cover(_problem([((45,), 0, 0, 0), ((45,), 1, 1, 1)], visit=[0, 0], show=[0, 0],
                            window=100))  # fmt: skip
    assert answer.pairs == 2


def test_the_window_alone_drops_a_pair():
    answer = cover(_problem([((45,), 0, 0, 0), ((46,), 1, 1, 1)], visit=[0, 0], show=[0, 0],
                            window=90))  # fmt: skip
    assert (answer.pairs, answer.total_ms) == (1, 45)


def test_a_visit_alone_sends_it_to_the_other_unit():
    # the shorter joint stands on a unit of its own: 30 + 20 against 40 on the unit met anyway
    joints = [((10,), 1, 1, 0), ((40,), 0, 0, 0), ((30,), 0, 0, 1)]
    answer = cover(_problem(joints, visit=[5, 20], show=[0, 0], window=999))
    assert answer.chosen.tolist() == [True, True, False]


def test_the_mentors_showing_counts():
    assert cover(_problem([((10,), 0, 0, 0)], visit=[0], show=[7], window=17)).total_ms == 17
    assert cover(_problem([((10,), 0, 0, 0)], visit=[0], show=[7], window=16)).pairs == 0


def test_no_candidates():
    empty = CoverageProblem(
        time_ms=np.zeros((0, 1), dtype=np.int64),
        pair=_ints([]),
        kind=_ints([]),
        unit=_ints([]),
        visit_ms=_ints([]),
        show_ms=_ints([]),
        window_ms=10,
    )
    assert cover(empty).pairs == 0


def test_unfit_numbers_are_refused():
    with pytest.raises(UnfitProblem, match=r"coverage: pair: 0 to 4; allowed: 0 to 0"):
        check(_problem([((1,), 4, 0, 0), ((1,), 0, 0, 0)], visit=[0], show=[0], window=9))
    with pytest.raises(UnfitProblem, match=r"coverage: time_ms: 1 columns; allowed: 2 or more"):
        check(_problem([((1,), 0, 0, 0), ((1,), 1, 0, 0)], visit=[0], show=[0, 0], window=9))
