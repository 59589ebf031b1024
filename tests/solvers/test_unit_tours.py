from itertools import permutations

import numpy as np
import pytest

from greaseroute.errors import UnfitProblem
from greaseroute.solvers.unit_tour import UnitTour, Way, all_ways, best_ways, nodes_of


def tour_of(
    move, cover, *, settle=5_000, enter=None, leave=None, need=None, forbid=None, extra=None
):
    move, cover = np.asarray(move, dtype=np.int64), np.asarray(cover, dtype=bool)
    count = len(cover)
    none = np.zeros_like(cover)
    return UnitTour(
        enter_ms=np.full(count, settle) if enter is None else np.asarray(enter, dtype=np.int64),
        leave_ms=np.zeros(count, np.int64) if leave is None else np.asarray(leave, dtype=np.int64),
        move_ms=move + settle * (1 - np.eye(count, dtype=np.int64)),
        cover=cover,
        need=none if need is None else np.asarray(need, dtype=bool),
        forbid=none if forbid is None else np.asarray(forbid, dtype=bool),
        extra_ms=np.zeros(cover.shape, np.int64) if extra is None else np.asarray(extra, np.int64),
    )


def brute_force(tour, *, idle=False):
    """Every sequence of nodes in every order: the least time for each first and last node.

    ``idle``: also sequences with nodes at which nothing is left to do.
    """
    best = {}
    count = len(tour.cover)
    for length in range(1, count + 1):
        for order in permutations(range(count), length):
            time_ms = _time(tour, order, idle=idle)
            if time_ms is not None:
                ends = (order[0], order[-1])
                best[ends] = min(best.get(ends, time_ms), time_ms)
    return best


def _time(tour, order, *, idle=False):
    done = np.zeros(tour.cover.shape[1], dtype=bool)
    total = int(tour.enter_ms[order[0]])
    for k, node in enumerate(order):
        if (tour.need[node] & ~done).any() or (tour.forbid[node] & done).any():
            return None
        if k:
            if tour.move_ms[order[k - 1], node] < 0:
                return None
            total += int(tour.move_ms[order[k - 1], node])
        fresh = tour.cover[node] & ~done
        if not fresh.any() and not idle:
            return None
        total += int(tour.extra_ms[node][fresh].sum())
        done |= tour.cover[node]
    return total + int(tour.leave_ms[order[-1]]) if done.all() else None


def on_a_line(places_m):
    """Walking time in ms at 1 m/s between places on a line."""
    return [[abs(a - b) * 1000 for b in places_m] for a in places_m]


def test_one_stand_costs_settling_alone():
    assert all_ways(tour_of([[0]], [[1]])) == [Way(0, 0, 5_000)]


def test_a_stand_that_serves_both_saves_a_walk_and_a_settling():
    # apart: 2 x 5 s + 4 m; together at the middle: 5 s
    move = on_a_line([0, 2, 4])
    apart = tour_of(move, [[1, 0], [0, 0], [0, 1]])
    both = tour_of(move, [[1, 0], [1, 1], [0, 1]])
    assert min(w.ms for w in all_ways(apart)) == 2 * 5_000 + 4_000
    assert min(w.ms for w in all_ways(both)) == 5_000


def test_way_in_and_way_out_decide_which_end_is_first():
    # stands at 0 and 4 m, both needed: 2 x 5 s + 4 m either way, and no way begins and ends at one
    ways = all_ways(tour_of(on_a_line([0, 4]), [[1, 0], [0, 1]]))
    assert ways == [Way(0, 1, 14_000), Way(1, 0, 14_000)]


def test_an_event_waits_for_what_it_needs():
    # groups: left, right, turned. Turning (node 2, at 10 m) needs both pumped: 0 -> 1 -> 2.
    tour = tour_of(
        on_a_line([0, 4, 10]),
        [[1, 0, 0], [0, 1, 0], [0, 0, 1]],
        need=[[0, 0, 0], [0, 0, 0], [1, 1, 0]],
    )
    # 3 x 5 s + 4 m + 6 m, or from the far side 3 x 5 s + 4 m + 10 m
    assert all_ways(tour) == [Way(0, 2, 25_000), Way(1, 2, 29_000)]


def test_a_stand_of_the_first_posture_is_gone_once_the_second_is_taken():
    # group 2: second posture taken (node 1); node 0 is of the first posture, node 2 of the second
    tour = tour_of(
        on_a_line([0, 5, 1]),
        [[1, 0, 0], [0, 0, 1], [0, 1, 0]],
        need=[[0, 0, 0], [0, 0, 0], [0, 0, 1]],
        forbid=[[0, 0, 1], [0, 0, 0], [0, 0, 0]],
    )
    # 0 -> 1 -> 2 alone: 3 x 5 s + 5 m + 4 m
    assert all_ways(tour) == [Way(0, 2, 24_000)]


def test_the_same_fitting_costs_its_own_band_at_each_stand():
    # group 0 costs 3 s more at stand 1; both stands at one spot serve it
    tour = tour_of([[0, 0], [0, 0]], [[1], [1]], extra=[[0], [3_000]])
    assert all_ways(tour) == [Way(0, 0, 5_000), Way(1, 1, 8_000)]


def random_tour(rng):
    count, groups = int(rng.integers(1, 7)), int(rng.integers(1, 6))
    spots = rng.uniform(0, 20, (count, 2))
    gap = np.linalg.norm(spots[:, None] - spots[None], axis=2)
    cover = rng.random((count, groups)) < 0.4
    cover[rng.integers(0, count, groups), np.arange(groups)] = True
    cover = (
        cover[cover.any(axis=1)]
        if cover.any(axis=1).all()
        else cover | np.eye(count, groups, dtype=bool)
    )
    keep = cover.any(axis=1)
    gap, cover = gap[keep][:, keep], cover[keep]
    need = np.zeros_like(cover)
    if groups > 1 and rng.random() < 0.5:
        last = cover[:, -1] & ~cover[:, 0]
        need[last, 0] = True
    forbid = np.zeros_like(cover)
    if rng.random() < 0.3:
        forbid[~cover[:, -1] & (rng.random(len(cover)) < 0.3), -1] = True
    extra = rng.integers(0, 4_000, cover.shape) * (rng.random(cover.shape) < 0.3)
    climb = rng.integers(0, 2, len(cover)) * 4_000
    move = np.ceil(gap * 1000).astype(np.int64) + climb[:, None] + climb[None, :]
    return tour_of(
        move, cover, enter=5_000 + climb, leave=climb, need=need, forbid=forbid, extra=extra
    )


def test_every_way_agrees_with_all_sequences_tried_one_by_one():
    rng = np.random.default_rng(11)
    pairs = 0
    for _ in range(150):
        tour = random_tour(rng)
        ways = all_ways(tour)
        truth = brute_force(tour)
        assert {(w.enter, w.leave): w.ms for w in ways} == truth
        pairs += len(truth)
        for way in ways:
            nodes = nodes_of(tour, way)
            assert (nodes[0], nodes[-1]) == (way.enter, way.leave)
            assert _time(tour, nodes) == way.ms
    assert pairs > 400


def test_ways_dropped_as_needless_never_cost_anything_from_outside():
    rng = np.random.default_rng(5)
    dropped = 0
    for _ in range(60):
        count = int(rng.integers(2, 6))
        inside, outside = rng.uniform(0, 10, (count, 2)), rng.uniform(-20, 30, (12, 2))
        walk = np.ceil(np.linalg.norm(inside[:, None] - inside[None], axis=2) * 1000).astype(
            np.int64
        )
        come = np.ceil(np.linalg.norm(outside[:, None] - inside[None], axis=2) * 1000).astype(
            np.int64
        )
        tour = tour_of(walk, rng.random((count, 3)) < 0.5)
        ways = [Way(a, b, ms) for (a, b), ms in brute_force(tour, idle=True).items()]
        slack = int(rng.choice([0, 500, 2_000]))
        kept, loss = best_ways(all_ways(tour), walk, slack_ms=slack)
        assert loss <= slack
        dropped += len(ways) - len(kept)
        for a in range(12):
            for b in range(12):
                cost = [come[a, w.enter] + w.ms + come[b, w.leave] for w in ways]
                least = [come[a, w.enter] + w.ms + come[b, w.leave] for w in kept]
                assert min(cost) <= min(least) <= min(cost) + loss if ways else not kept
    assert dropped > 100


def test_too_many_groups_are_refused_with_the_number():
    with pytest.raises(UnfitProblem, match="20 groups of fittings; allowed: at most 19"):
        tour_of([[0]], [[1] * 20])
