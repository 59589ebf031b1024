"""Walks over the border points of slow ground alone: a little longer, and a metric."""

import numpy as np
import pytest
from shapely.geometry import box

from greaseroute.walk.ground import FreeGround
from greaseroute.walk.slow import SlowArea


@pytest.fixture(scope="module")
def ground() -> FreeGround:
    slow = (SlowArea(box(20, 0, 40, 60), time_factor=1.8), SlowArea(box(50, 20, 70, 60), 1.3))
    return FreeGround(box(0, 0, 90, 60), [box(42, 10, 48, 50)], slow=slow)


def test_unslid_walks_are_hardly_longer_and_never_quicker(ground: FreeGround) -> None:
    points = np.random.default_rng(4).uniform((1, 1), (89, 9), (12, 2))
    slid = ground.travel(points, speed_m_s=1.2).time_s
    unslid = ground.travel(points, speed_m_s=1.2, slide=False).time_s
    # Border points are 1 m apart: a walk misses its best passage by half a metre at most.
    gap_s = unslid - slid
    assert gap_s.min() >= -1e-12
    assert 0 < gap_s.max() <= 0.5 / 1.2
    assert 1.0 < unslid.sum() / slid.sum() <= 1.01


def test_unslid_times_obey_the_triangle_inequality(ground: FreeGround) -> None:
    points = np.random.default_rng(5).uniform((1, 1), (89, 9), (15, 2))
    time = ground.travel(points, speed_m_s=1.2, slide=False).time_s
    detour = (time[:, :, None] + time[None, :, :]).min(axis=1)
    assert (time <= detour + 1e-9).all()
