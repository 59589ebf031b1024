"""The ways left to the search: each one left out is replaced by one kept, at a small loss."""

from dataclasses import replace

import numpy as np
import pytest

from greaseroute.solvers.arrays import FAR
from greaseroute.solvers.vrp.layout import (
    CLOSES,
    END_WAY,
    ENTER,
    FIRST_WAY,
    LEAVE,
    LOSS,
    OPENS,
    UNIT,
    WALKER,
    WORK,
    layout_of,
)
from greaseroute.solvers.vrp.problem import CANNOT
from greaseroute.solvers.vrp.solve import crew_plans
from greaseroute.solvers.vrp.thinning import LOSS_MS, with_few_ways
from tests.solvers.vrp.crew_cases import ints, line_problem, random_problem

RULES = [{}, {"windows": True}, {"bag": True}, {"levels": True}, {"hours": True}]


def loss_ms(inst, t, first, second, *, ways):
    """What the first way costs more than the second at most, from and to points of other ways."""
    own = {int(p) for w in ways for p in inst.way[[ENTER, LEAVE], w]}
    worst = []
    for ends, there in ((inst.way[ENTER], True), (inst.way[LEAVE], False)):
        more = []
        for legs in inst.travel[:, inst.crew[t, WALKER]]:
            for p in set(range(legs.shape[0])) - own:
                one, other = [
                    int(legs[p, ends[w]] if there else legs[ends[w], p]) for w in (first, second)
                ]
                if other < FAR:
                    more.append(one - other)
        worst.append(max(more, default=0))
    return sum(worst) + int(inst.way[WORK + t, first] - inst.way[WORK + t, second])


@pytest.mark.parametrize("rules", RULES)
@pytest.mark.parametrize("seed", range(4))
def test_every_way_left_out_is_replaced_at_a_small_loss(seed, rules):
    problem = random_problem(np.random.default_rng(seed), units=6, technicians=2, **rules)
    whole = layout_of(problem)
    inst = whole.inst
    kept = {int(way) for way in with_few_ways(whole).way_id}
    assert kept <= set(whole.way_id.tolist())
    for level in range(whole.store_level):
        ways = range(inst.level[level, FIRST_WAY], inst.level[level, END_WAY])
        stay = [w for w in ways if int(whole.way_id[w]) in kept]
        for gone in set(ways) - set(stay):
            assert any(
                all(loss_ms(inst, t, way, gone, ways=ways) <= LOSS_MS for t in (0, 1))
                and inst.way[OPENS, way] <= inst.way[OPENS, gone]
                and inst.way[CLOSES, way] >= inst.way[CLOSES, gone]
                for way in stay
            )


def test_something_is_left_out_and_levels_stay():
    # thirty ways of one unit within 6 m of each other, at speeds above 1 m/s
    problem = random_problem(np.random.default_rng(3), units=6, technicians=2, levels=True)
    whole = layout_of(problem)
    few = with_few_ways(whole)
    assert few.way_id.size < whole.way_id.size
    assert np.array_equal(few.inst.level[:, [UNIT, LOSS]], whole.inst.level[:, [UNIT, LOSS]])
    assert (few.inst.level[:, END_WAY] - few.inst.level[:, FIRST_WAY] >= 1).all()


def test_what_is_kept_is_told_as_before():
    problem = random_problem(np.random.default_rng(5), units=5, technicians=2, hours=True)
    whole = layout_of(problem)
    few = with_few_ways(whole)
    place = {int(way): k for k, way in enumerate(whole.way_id)}
    for k, way in enumerate(few.way_id):
        before = place[int(way)]
        assert np.array_equal(few.inst.way[OPENS:, k], whole.inst.way[OPENS:, before])
        for end in (ENTER, LEAVE):
            point = whole.point_id[whole.inst.way[end, before]]
            assert few.point_id[few.inst.way[end, k]] == point
    where = np.searchsorted(np.sort(whole.point_id), few.point_id)
    old = np.argsort(whole.point_id)[where]
    assert np.array_equal(few.inst.travel, whole.inst.travel[..., old[:, None], old[None, :]])


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
    assert with_few_ways(layout_of(wide)).way_id.size == left


def test_a_way_that_one_technician_cannot_take_does_not_stand_for_one_that_he_can():
    problem = two_ways(59, technicians=2, window_ms=ints([[0, 10**9]]))
    only_first = problem.way_ms.copy()
    only_first[1, 1] = CANNOT
    few = with_few_ways(layout_of(replace(problem, way_ms=only_first)))
    assert few.way_id.tolist() == [0]
    only_second = problem.way_ms.copy()
    only_second[1, 0] = CANNOT
    few = with_few_ways(layout_of(replace(problem, way_ms=only_second)))
    assert few.way_id.tolist() == [1]


def test_the_plan_takes_the_best_of_all_ways():
    # both ways 10 m there and 10 m back at 1 m/s; the search sees one, the plan takes the quicker
    problem = two_ways(56, window_ms=ints([[0, 10**9]]))
    assert with_few_ways(layout_of(problem)).way_id.size == 1
    (plan, *_) = crew_plans(problem, exact=False, iterations=50)
    assert plan.last_finish_ms == 76_000


def test_plans_come_best_first():
    problem = random_problem(np.random.default_rng(9), units=7, technicians=2)
    plans = crew_plans(problem, exact=False, iterations=400)
    worth = [(p.lost, p.last_finish_ms, p.walk_mm, p.spread_ms) for p in plans]
    assert len(plans) > 1
    assert worth == sorted(worth)
