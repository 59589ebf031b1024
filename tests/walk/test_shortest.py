"""Shortest paths against brute force and against what any metric must obey."""

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely.geometry import LineString

from greaseroute.walk.ground import FreeGround
from tests.walk.scenes import brute_force_m, largest_error, random_points, random_scene

SEEDS = st.integers(0, 10**6)
FIXED = {"derandomize": True, "deadline": None, "database": None}


def scene(seed, **options):
    boundary, shapes, rng = random_scene(seed, **options)
    ground = FreeGround(boundary, shapes)
    return ground, random_points(rng, ground.free)


@settings(max_examples=120, **FIXED)
@given(SEEDS)
def test_lengths_equal_brute_force(seed):
    # shapely tests every pair of vertices and points; scipy finds the paths
    ground, points = scene(seed)
    error = largest_error(ground.distances_m(points), brute_force_m(ground.free, points))
    assert error < 1e-9


@settings(max_examples=40, **FIXED)
@given(SEEDS)
def test_lengths_are_a_metric(seed):
    ground, points = scene(seed)
    found = ground.distances_m(points)
    straight = np.hypot(*np.moveaxis(points[:, None] - points[None], -1, 0))
    assert (np.diag(found) == 0).all()
    both = np.isfinite(found)
    assert (both == both.T).all()
    assert np.abs(found[both] - found.T[both]).max() < 1e-9
    assert (found >= straight * (1 - 1e-12) - 1e-9).all()
    detour = found[:, :, None] + found[None]  # i to j to k
    assert (found[:, None, :] <= detour + 1e-9).all()


@settings(max_examples=40, **FIXED)
@given(SEEDS)
def test_a_free_straight_line_is_the_path(seed):
    ground, points = scene(seed)
    found = ground.distances_m(points)
    i, j = np.triu_indices(len(points), 1)
    lines = shapely.linestrings(np.stack([points[i], points[j]], axis=1))
    # clearly free: with a hand's breadth to either side, so that rounding decides nothing
    free = shapely.covers(ground.free, shapely.buffer(lines, 1e-3))
    assert np.abs(found[i, j] - shapely.length(lines))[free].max(initial=0.0) < 1e-9


@settings(max_examples=40, **FIXED)
@given(SEEDS)
def test_every_path_measures_its_length_and_stays_on_free_ground(seed):
    ground, points = scene(seed)
    found = ground.distances_m(points)
    walks = ground.travel(points, speed_m_s=1.0)
    grown = ground.free.buffer(1e-9, join_style="mitre")
    for i in range(len(points)):
        for j in range(i):
            leg = walks.leg(i, j)
            assert isinstance(leg, LineString) == bool(np.isfinite(found[i, j]))
            if isinstance(leg, LineString):
                assert leg.length == pytest.approx(found[i, j], rel=1e-12, abs=1e-9)
                assert grown.covers(leg)


def test_with_clearance_every_path_keeps_it():
    for seed in range(30):
        boundary, shapes, rng = random_scene(seed, kinds=("stars", "convex"))
        ground = FreeGround(boundary, shapes, 0.25)
        if ground.free.is_empty:
            continue
        points = random_points(rng, ground.free)
        walks = ground.travel(points)
        closed = shapely.union_all(shapes)
        for j in range(1, len(points)):
            leg = walks.leg(0, j)
            if isinstance(leg, LineString):
                assert leg.distance(closed) >= 0.25 - 1e-9


def test_rows_asked_for_alone_equal_the_whole_table():
    ground, points = scene(7)
    whole = ground.distances_m(points)
    rows = ground.distances_between_m(points[:3], points)
    assert np.array_equal(rows, whole[:3])


def test_the_same_input_gives_the_same_bytes():
    one, points = scene(11)
    two, _ = scene(11)
    assert one.distances_m(points).tobytes() == two.distances_m(points).tobytes()
    assert one.travel(points).leg(0, 1).wkb == two.travel(points).leg(0, 1).wkb
