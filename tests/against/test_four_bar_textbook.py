"""Four-bar positions against textbook linkages.

Sources: the problem table of R. L. Norton, Design of Machinery (table P4-1, row a: ground 6,
crank 2, coupler 7, rocker 9, crank at 30 degrees; data as printed, angles from memory of the
printed answers), a crank-rocker of a mechanisms course (ME350, W10, homework 4: ground 10,
crank 2, coupler 7, rocker 6; angles worked out here by the law of cosines), and Freudenstein's
equation K1 cos t4 - K2 cos t2 + K3 = cos(t2 - t4), K1 = d/a, K2 = d/c,
K3 = (a2 - b2 + c2 + d2) / 2ac (F. Freudenstein, 1955), which no circle is met for.
"""

import math

import pytest

from greaseroute.catalogue.kinematics.circles import wrapped_deg
from greaseroute.catalogue.kinematics.four_bar import PlanarFourBar


def linkage(ground, crank, coupler, rocker, *, crossed=False):
    """Crank pivot at the origin, rocker pivot on the first axis, every link along its own axis."""
    # Open: the fourth pin lies to the left of the walk from crank pin to rocker pivot.
    return PlanarFourBar(
        crank_pivot=(0.0, 0.0),
        rocker_pivot=(ground, 0.0),
        crank_pin=(crank, 0.0),
        coupler_pin=(coupler, 0.0),
        rocker_pin=(rocker, 0.0),
        rocker_side="right" if crossed else "left",
        crank_side="right",
    )


def angles(bar, crank_deg):
    """Coupler and rocker angle against the ground link, as textbooks measure them."""
    rocker = bar.rocker_deg(crank_deg)
    return wrapped_deg(bar.coupler_deg(crank_deg, rocker) + crank_deg), rocker


@pytest.mark.parametrize(
    ("crossed", "coupler_deg", "rocker_deg"),
    [(False, 88.84, 117.29), (True, -115.21, -143.66)],
)
def test_problem_table_row_a(crossed, coupler_deg, rocker_deg):
    found = angles(linkage(6, 2, 7, 9, crossed=crossed), 30.0)
    assert found == pytest.approx((coupler_deg, rocker_deg), abs=0.005)


def test_course_crank_rocker_at_zero():
    # Crank on the ground line: a triangle of sides 10 - 2 = 8, coupler 7, rocker 6.
    # At the crank pin: cos = (64 + 49 - 36) / (2 * 8 * 7) = 77/112 -> 46.5675 degrees.
    # At the rocker pivot: cos = (64 + 36 - 49) / (2 * 8 * 6) = 51/96 -> 57.9100; 180 less it.
    found = angles(linkage(10, 2, 7, 6), 0.0)
    assert found == pytest.approx((46.5675, 180 - 57.9100), abs=1e-4)


def test_course_crank_rocker_limits():
    # Rocker limits: crank and coupler in line, triangles of sides 10, 6 and 7 - 2 = 5 or 7 + 2 = 9.
    # cos = (100 + 36 - 25) / 120 = 0.925 -> 22.3316; cos = (100 + 36 - 81) / 120 -> 62.7204;
    # measured from the ground line the rocker swings from 117.2796 to 157.6684.
    bar = linkage(10, 2, 7, 6)
    rocker = [bar.rocker_deg(tenth / 10) for tenth in range(3600)]
    assert min(rocker) == pytest.approx(117.2796, abs=1e-3)
    assert max(rocker) == pytest.approx(157.6684, abs=1e-3)


@pytest.mark.parametrize("lengths", [(6, 2, 7, 9), (10, 2, 7, 6), (2.39, 0.7, 2.1, 1.9)])
@pytest.mark.parametrize("crossed", [False, True])
def test_freudenstein_equation_all_round(lengths, crossed):
    d, a, b, c = lengths
    bar = linkage(d, a, b, c, crossed=crossed)
    k1, k2, k3 = d / a, d / c, (a * a - b * b + c * c + d * d) / (2 * a * c)
    for degrees in range(0, 360, 5):
        t2, t4 = math.radians(degrees), math.radians(bar.rocker_deg(degrees))
        left = k1 * math.cos(t4) - k2 * math.cos(t2) + k3
        assert left == pytest.approx(math.cos(t2 - t4), abs=1e-12)
