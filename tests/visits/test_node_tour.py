import itertools

import numpy as np
import pytest

from greaseroute.errors import UnfitProblem
from greaseroute.site.reach import Reach
from greaseroute.solvers.unit_tour import GROUPS, MOST_GROUPS, Way, all_ways
from greaseroute.visits.node_tour import fewer_nodes, node_tour, on_deck_ms
from greaseroute.visits.nodes import Node, band_ms

LOW = ("kneel", "stand")
BANDS = band_ms(Reach(kneel_s=5.0, stoop_s=2.0, overhead_s=3.0))


def node(x, items, *, bands=None, kind="stand", need=(), forbid=(), deck=None, climb=0, event=0):
    items = tuple((i, "1") for i in items)
    return Node(
        kind=kind,
        posture="parked",
        x_m=float(x),
        y_m=0.0,
        height_m=1.0 if deck else 0.0,
        deck=deck,
        foot_m=(0.0 if deck else float(x), 0.0),
        settle_ms=0 if event else 5_000,
        climb_ms=climb,
        event_ms=event,
        items=items,
        bands=tuple(bands or ["stand"] * len(items)),
        need=tuple((i, "1") for i in need),
        forbid=tuple((i, "1") for i in forbid),
    )


def tour(nodes, *, speed=1.0):
    feet = np.asarray([n.foot_m for n in nodes])
    gap = np.linalg.norm(feet[:, None] - feet[None], axis=2)
    return node_tour(
        nodes, np.rint(1000 * gap / speed).astype(np.int64), band_ms=BANDS, speed_m_s=speed
    )


def test_items_always_served_together_are_one_group():
    built = tour([node(0, "ab"), node(4, "c")])
    assert built.cover.shape == (2, 2)


def test_an_item_at_hand_wherever_another_is_needs_no_group():
    # b is served at both stands of a and at one more
    built = tour([node(0, "ab"), node(4, "ab"), node(9, "b")])
    assert built.cover.shape == (3, 1)
    assert min(w.ms for w in all_ways(built)) == 5_000


def test_a_dearer_band_at_one_stand_is_charged_there_alone():
    # a costs nothing standing at 0, 5 s kneeling at 1 m: the way that ends there pays for it
    built = tour([node(0, "a"), node(1, "a", bands=["kneel"])])
    assert all_ways(built) == [Way(0, 0, 5_000), Way(1, 1, 10_000)]


def test_a_deck_costs_its_climb_up_and_down_once_for_all_its_stands():
    nodes = [
        node(0, "a", deck="left deck", climb=4_000),
        node(3, "b", deck="left deck", climb=4_000),
    ]
    built = tour(nodes)
    # up 4 s, settle 5, along the deck 3 m, settle 5, down 4
    assert all_ways(built) == [Way(0, 1, 21_000), Way(1, 0, 21_000)]
    assert on_deck_ms(nodes[0], nodes[1], speed_m_s=2.0) == 1_500


def test_an_event_takes_its_time_and_waits_for_what_it_needs():
    built = tour([node(0, "a"), node(4, "t", kind="turn", need="a", event=60_000)])
    # settle 5, 4 m, 60 s standing clear
    assert all_ways(built) == [Way(0, 1, 69_000)]


def test_more_stands_than_groups_can_hold_are_thinned_to_a_cover():
    count = GROUPS + 4
    names = [f"{k}" for k in range(count)]
    single = [node(10 * k, [names[k]]) for k in range(count)]
    double = [node(10 * k + 1, names[2 * k : 2 * k + 2]) for k in range(count // 2)]
    turn = node(300, "t", kind="turn", event=1_000)
    kept = fewer_nodes([*single, *double, turn], band_ms={})
    assert kept == [*double, turn]
    assert fewer_nodes(single[:5], band_ms={}) == single[:5]


def test_stands_that_share_items_in_too_many_ways_do_each_item_once():
    # Eight stands, an item at every pair of them: 28 groups; each item at one stand alone leaves a
    # group for every stand but one.
    pairs = list(itertools.combinations(range(8), 2))
    held = [[f"{a}-{b}" for a, b in pairs if s in (a, b)] for s in range(8)]
    nodes = [node(10 * s, held[s], bands=[LOW[s % 2]] * 7) for s in range(8)]
    turn = node(300, ["t"], kind="turn", event=1_000)
    with pytest.raises(UnfitProblem):
        tour([*nodes, turn])
    kept = fewer_nodes([*nodes, turn], band_ms=BANDS)
    served = [item for n in kept for item in n.items]
    assert sorted(served) == sorted({item for n in (*nodes, turn) for item in n.items})
    built = tour(kept)
    assert built.cover.shape[1] == 8
    assert all_ways(built)


def test_a_unit_with_more_places_than_can_be_walked_through_is_named():
    nodes = [node(10 * k, [f"{k}"]) for k in range(MOST_GROUPS + 1)]
    with pytest.raises(UnfitProblem, match="20 groups of fittings; allowed: at most 19"):
        tour(fewer_nodes(nodes, band_ms={}))
