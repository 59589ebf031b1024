"""Planes, depth and distance of small convex bodies."""

import math

import numpy as np
import pytest
from scipy.spatial import ConvexHull

from greaseroute.catalogue.hull import box_planes, depth_m, hull_planes, outside_m, profile_planes

CUBE = np.array([(x, y, z) for x in (0, 1) for y in (0, 1) for z in (0, 1)], float)


def test_cube_has_six_outward_planes():
    planes = hull_planes(CUBE)
    assert len(planes) == 6
    assert np.all(planes[:, :3] @ np.full(3, 0.5) + planes[:, 3] == pytest.approx(-0.5))


def test_depth_inside_and_distance_outside():
    planes = hull_planes(CUBE)
    assert depth_m(planes, np.array((0.5, 0.5, 0.9))) == pytest.approx(0.1)
    assert depth_m(planes, np.array((0.5, 0.5, 1.2))) == pytest.approx(-0.2)
    assert outside_m(planes, np.array((0.5, 0.5, 0.5))) == 0
    # Past a corner by 3, 4 and 12 cm: 13 cm, more than any plane alone says.
    assert outside_m(planes, np.array((1.03, 1.04, 1.12))) == pytest.approx(0.13, abs=1e-6)


def test_flat_points_are_refused():
    with pytest.raises(ValueError, match="lie in one plane"):
        hull_planes(np.array([(0, 0, 0), (1, 0, 0), (0, 1, 0), (1, 1, 0)], float))


def test_planes_agree_with_a_reference_library():
    # scipy's qhull gives one row for each triangle; merged they are the same set of planes.
    rng = np.random.default_rng(5)
    for _ in range(30):
        points = rng.normal(size=(12, 3))
        theirs = np.unique(np.round(ConvexHull(points).equations, 6), axis=0)
        ours = np.unique(np.round(hull_planes(points), 6), axis=0)
        assert ours == pytest.approx(theirs, abs=2e-6)


def same_planes(one, two):
    def ordered(planes):
        return np.array(sorted(np.round(planes, 6).tolist())) + 0.0

    return ordered(one) == pytest.approx(ordered(two), abs=2e-6)


def test_box_and_profile_have_the_planes_of_their_corners():
    assert same_planes(box_planes((0, 0, 0), (1, 1, 1)), hull_planes(CUBE))
    # A corner inside the rim and one on an edge change nothing.
    profile = np.array([(0, 0), (2, 0), (3, 1), (1, 2), (0, 1), (1, 0), (1, 1)], float)
    corners = np.array([(x, y, z) for y in (-1, 2) for x, z in profile])
    assert same_planes(profile_planes(profile, (-1, 2)), hull_planes(corners))


def test_profile_on_one_line_is_refused():
    with pytest.raises(ValueError, match="lie on one line"):
        profile_planes(np.array([(0, 0), (1, 1), (2, 2)], float), (0, 1))


def test_distance_agrees_with_brute_force_search():
    rng = np.random.default_rng(6)
    corners = rng.normal(size=(8, 3))
    planes = hull_planes(corners)
    weights = rng.dirichlet(np.full(8, 0.3), size=200_000)
    inside = weights @ corners
    for _ in range(5):
        point = rng.normal(size=3) * 4
        sampled = float(np.linalg.norm(inside - point, axis=1).min())
        exact = outside_m(planes, point)
        assert exact <= sampled + 1e-9
        assert math.isclose(exact, sampled, abs_tol=0.06)
