"""Time factors over spot heights, against scipy's own triangulation and steps of a millimetre."""

import numpy as np
import pytest
from scipy.interpolate import LinearNDInterpolator

from greaseroute.walk.slope import Slopes
from tests.walk.scenes import slope_factor

STEPS = 20_000


def stepped(height_at, start, end):
    """The mean factor by small steps along one line; beyond the heights the ground is level."""
    at = start + np.linspace(0, 1, STEPS + 1)[:, None] * (end - start)
    rise = np.diff(height_at(at)) / (np.hypot(*(end - start)) / STEPS)
    return np.mean([slope_factor(s) for s in rise])


@pytest.mark.parametrize("count", [4, 40, 300])
def test_factor_is_the_mean_over_the_triangles_passed(count):
    rng = np.random.default_rng(count)
    heights = np.c_[rng.uniform(0, 100, (count, 2)), rng.uniform(0, 4, count) / count**0.5]
    known = LinearNDInterpolator(heights[:, :2], heights[:, 2])
    inside = rng.uniform(0, 100, (200, 2))
    inside = inside[np.isfinite(known(inside))]
    start, end = inside[:-1], inside[1:]  # between points inside a convex rim
    factor = Slopes(heights.tolist()).factor(start, end)
    for k in range(min(20, len(start))):
        assert factor[k] == pytest.approx(stepped(known, start[k], end[k]), rel=2e-4)


def test_lines_along_edges_and_through_corners_of_the_triangles():
    # a ridge at x = 10: 1 in 10 up to it, 1 in 10 down; heights on a square grid
    heights = [(x, y, 1.0 - abs(x - 10) / 10) for x in (0, 10, 20) for y in (0, 10, 20)]
    up, down = slope_factor(0.1), slope_factor(-0.1)
    slopes = Slopes(heights)
    start = np.array([[0, 10], [20, 10], [10, 0], [0, 5], [0, 0]], float)
    end = np.array([[20, 10], [10, 10], [10, 20], [5, 5], [20, 0]], float)
    wanted = [(up + down) / 2, up, 1.0, up, (up + down) / 2]
    assert slopes.factor(start, end) == pytest.approx(wanted, rel=1e-12)


def test_beyond_the_heights_the_ground_is_as_high_as_at_the_nearest_point_of_them():
    slopes = Slopes([(0, 0, 0), (100, 0, 10), (0, 50, 0), (100, 50, 10)])  # 1 in 10 eastwards
    start = np.array([[-40, 25], [60, -10], [50, 25]], float)
    end = np.array([[-10, 25], [80, -10], [150, 25]], float)
    # level to the west; along the south edge as on it; 50 m up, then 50 m level
    wanted = [1.0, slope_factor(0.1), (slope_factor(0.1) + 1) / 2]
    assert slopes.factor(start, end) == pytest.approx(wanted, rel=1e-12)


def test_too_few_heights_or_all_on_one_line_are_level_ground():
    start, end = np.array([[0.0, 0.0]]), np.array([[9.0, 3.0]])
    for heights in ([(0, 0, 1)], [(0, 0, 1), (9, 3, 5)], [(0, 0, 1), (3, 1, 2), (9, 3, 5)]):
        assert Slopes(heights).factor(start, end) == pytest.approx([1.0])
