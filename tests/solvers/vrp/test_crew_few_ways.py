"""The ways left to the search: each one left out is replaced by one kept, at a small loss."""

from dataclasses import replace

import numpy as np
import pytest

from greaseroute.solvers.vrp.layout import FAR_MS, crew_arrays
from greaseroute.solvers.vrp.problem import CANNOT
from greaseroute.solvers.vrp.solve import crew_plans
from greaseroute.solvers.vrp.thinning import LOSS_MS, with_few_ways
from tests.solvers.vrp.crew_cases import ints, line_problem, random_problem

RULES = [{}, {"windows": True}, {"bag": True}, {"levels": True}, {"hours": True}]


def loss_ms(a, t, first, second, *, ways):
    """What the first way costs more than the second at most, from and to points of other ways."""
    own = {int(p) for w in ways for p in (a.way_enter[w], a.way_leave[w])}
    worst = []
    for ends, there in ((a.way_enter, True), (a.way_leave, False)):
        more = []
        for legs in a.travel[:, t]:
            for p in set(range(legs.shape[0])) - own:
                one, other = [
                    int(legs[p, ends[w]] if there else legs[ends[w], p]) for w in (first, second)
                ]
                if other < FAR_MS:
                    more.append(one - other)
        worst.append(max(more, default=0))
    return sum(worst) + int(a.way_ms[t, first] - a.way_ms[t, second])


@pytest.mark.parametrize("rules", RULES)
@pytest.mark.parametrize("seed", range(4))
def test_every_way_left_out_is_replaced_at_a_small_loss(seed, rules):
    problem = random_problem(np.random.default_rng(seed), units=6, technicians=2, **rules)
    a = crew_arrays(problem)
    few = with_few_ways(a)
    kept = {int(way) for way in few.way_id}
    assert kept <= set(a.way_id.tolist())
    for level in range(a.level_unit.size):
        ways = range(a.level_first[level], a.level_first[level + 1])
        stay = [w for w in ways if int(a.way_id[w]) in kept]
        for gone in set(ways) - set(stay):
            assert any(
                all(loss_ms(a, t, way, gone, ways=ways) <= LOSS_MS for t in (0, 1))
                and a.way_lo[way] <= a.way_lo[gone]
                and a.way_hi[way] >= a.way_hi[gone]
                for way in stay
            )


def test_something_is_left_out_and_levels_stay():
    # thirty ways of one unit within 6 m of each other, at speeds above 1 m/s
    problem = random_problem(np.random.default_rng(3), units=6, technicians=2, levels=True)
    a = crew_arrays(problem)
    few = with_few_ways(a)
    assert few.way_id.size < a.way_id.size
    assert np.array_equal(few.level_unit, a.level_unit)
    assert np.array_equal(few.level_loss, a.level_loss)
    assert (np.diff(few.level_first) >= 1).all()


def test_what_is_kept_is_told_as_before():
    a = crew_arrays(random_problem(np.random.default_rng(5), units=5, technicians=2, hours=True))
    few = with_few_ways(a)
    place = {int(way): k for k, way in enumerate(a.way_id)}
    for k, way in enumerate(few.way_id):
        before = place[int(way)]
        assert np.array_equal(few.way_ms[:, k], a.way_ms[:, before])
        assert few.point_id[few.way_enter[k]] == a.point_id[a.way_enter[before]]
        assert few.point_id[few.way_leave[k]] == a.point_id[a.way_leave[before]]
    where = np.searchsorted(np.sort(a.point_id), few.point_id)
    old = np.argsort(a.point_id)[where]
    assert np.array_equal(few.travel, a.travel[..., old[:, None], old[None, :]])


def two_ways(second_work_s, **fields):
    """One unit with two ways at the same place."""
    return line_problem(
        [10, 10], work_s=[60, second_work_s], way_unit=ints([0, 0]), skip_loss=ints([100]), **fields
    )


@pytest.mark.parametrize(("longer_s", "left"), [(4, 1), (5, 1), (6, 2)])
def test_a_way_stands_for_another_up_to_the_loss(longer_s, left):
    # the first takes longer and its unit lies nearer: it replaces the second up to 5 s
    window = ints([[0, 10**9]])
    problem = two_ways(60 - longer_s, window_ms=window)
    wide = replace(problem, way_window_ms=ints([[0, 10**9], [0, 10**8]]))
    # the better one is not open as long, so that it cannot stand for the other
    assert with_few_ways(crew_arrays(wide)).way_id.size == left


def test_a_way_that_one_technician_cannot_take_does_not_stand_for_one_that_he_can():
    problem = two_ways(59, technicians=2, window_ms=ints([[0, 10**9]]))
    only_first = problem.way_ms.copy()
    only_first[1, 1] = CANNOT
    few = with_few_ways(crew_arrays(replace(problem, way_ms=only_first)))
    assert few.way_id.tolist() == [0]
    only_second = problem.way_ms.copy()
    only_second[1, 0] = CANNOT
    few = with_few_ways(crew_arrays(replace(problem, way_ms=only_second)))
    assert few.way_id.tolist() == [1]


def test_the_plan_takes_the_best_of_all_ways():
    # both ways 10 m there and 10 m back at 1 m/s; the search sees one, the plan takes the quicker
    problem = two_ways(56, window_ms=ints([[0, 10**9]]))
    assert with_few_ways(crew_arrays(problem)).way_id.size == 1
    (plan, *_) = crew_plans(problem, exact=False, iterations=50)
    assert plan.last_finish_ms == 76_000


def test_plans_come_best_first():
    problem = random_problem(np.random.default_rng(9), units=7, technicians=2)
    plans = crew_plans(problem, exact=False, iterations=60)
    worth = [(p.lost, p.last_finish_ms, p.walk_mm, p.spread_ms) for p in plans]
    assert len(plans) > 1
    assert worth == sorted(worth)
