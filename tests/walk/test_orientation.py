"""Exact turns, in the kernel and over arrays, against rational arithmetic."""

from fractions import Fraction

import numpy as np

from greaseroute.walk.kernel_sight import orient
from greaseroute.walk.orientation import orientations


def rational_sign(a, b, c):
    (ax, ay), (bx, by), (cx, cy) = ([Fraction(v) for v in p] for p in (a, b, c))
    turn = (ax - cx) * (by - cy) - (ay - cy) * (bx - cx)
    return (turn > 0) - (turn < 0)


def nearly_collinear(count=400):
    """Points a few roundings off the line through two others, near and far from the origin."""
    rng = np.random.default_rng(3)
    a = rng.uniform(-50, 50, (count, 2)) + rng.choice([0.0, 5e5], (count, 1))
    b = a + rng.uniform(-30, 30, (count, 2))
    c = a + (b - a) * rng.uniform(-2, 3, (count, 1))
    c += np.spacing(c) * rng.integers(-2, 3, (count, 2))
    return a, b, c


def test_signs_are_exact_where_floats_are_not():
    a, b, c = nearly_collinear()
    wanted = [rational_sign(*p) for p in zip(a.tolist(), b.tolist(), c.tolist(), strict=True)]
    assert {-1, 0, 1} >= set(wanted)
    assert len(set(wanted)) > 1
    assert np.sign(orientations(a, b, c)).tolist() == wanted
    kernel = [np.sign(orient(*p, *q, *r)) for p, q, r in zip(a, b, c, strict=True)]
    assert kernel == wanted
    plain = (a - c)[:, 0] * (b - c)[:, 1] - (a - c)[:, 1] * (b - c)[:, 0]
    assert (np.sign(plain) != wanted).any()  # or this test would prove nothing


def test_collinear_points_are_zero():
    line = np.array([[0.0, 0.0], [1.0, 3.0], [2.0, 6.0]])
    assert orientations(*(p[None] for p in line))[0] == 0
    assert orient(*line[0], *line[1], *line[2]) == 0
    assert orient(0.0, 0.0, 1.0, 0.0, 0.0, 1.0) > 0
