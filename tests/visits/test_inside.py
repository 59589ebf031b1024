import numpy as np
import pytest
from shapely.geometry import box

from greaseroute.visits.walks_inside import MARGINS_M, beside, inside_walks
from greaseroute.walk.ground import FreeGround
from greaseroute.walk.tables import up_to_ms


def test_round_a_block_the_walk_goes_by_its_corner():
    ground = FreeGround(box(0, 0, 200, 200), [box(90, 95, 110, 105)])
    walks = inside_walks([(100.0, 94.0), (100.0, 106.0)], ground, speed_m_s=1.0)
    # by the corners (110, 95) and (110, 105): 2 x sqrt(10^2 + 1) + 10 = 30.0998... m
    assert walks.ms[0, 1] == up_to_ms(np.array([2 * 101**0.5 + 10]))[0] == 30_100
    assert walks.line(0, 1)[1:-1] in (
        ((110.0, 95.0), (110.0, 105.0)),
        ((90.0, 95.0), (90.0, 105.0)),
    )


def test_a_wall_longer_than_the_ground_looked_at_still_gives_the_true_way():
    half = MARGINS_M[-1] + 20.0  # its ends lie outside the box that is looked at first
    ground = FreeGround(box(0, 0, 400, 200), [box(200 - half, 99, 200 + half, 101)])
    walks = inside_walks([(200.0, 99.0), (200.0, 101.0)], ground, speed_m_s=1.0)
    # 50 m along the wall, 2 m across, 50 m back
    assert walks.ms[0, 1] == 1000 * (2 * half + 2) == 102_000


@pytest.mark.parametrize("seed", range(6))
def test_walks_agree_with_those_over_the_whole_ground(seed):
    rng = np.random.default_rng(seed)
    corners = rng.uniform(0, 280, (25, 2))
    boxes = [
        box(x, y, x + w, y + h)
        for (x, y), (w, h) in zip(corners, rng.uniform(3, 30, (25, 2)), strict=True)
    ]
    ground = FreeGround(box(0, 0, 300, 300), boxes)
    spots = rng.uniform(120, 180, (30, 2))
    spots = [tuple(p) for p in spots[ground.is_free(spots)][:12]]
    if len(spots) < 2:
        return
    walks = inside_walks(spots, ground, speed_m_s=1.3)
    true = up_to_ms(ground.travel(np.asarray(spots), speed_m_s=1.3).time_s)
    assert np.abs(walks.ms - true).max() <= 1


def test_walks_do_not_hang_on_who_else_works_at_the_unit() -> None:
    ground = FreeGround(box(0, 0, 200, 200), [box(95, 95, 105, 105)], 0.5, speed_m_s=1.3)
    mine = [(94.0, 92.0), (106.0, 110.0), (94.0, 92.0), (90.0, 100.0)]
    others = [(110.0, 100.0), (106.0, 110.0)]
    alone = inside_walks(mine, ground, speed_m_s=1.3)
    shared = beside([*others, *mine], ground)
    for who in (mine, others):
        walks = inside_walks(who, shared, speed_m_s=1.3)
        assert walks.ms.shape == (len(who), len(who))
    together = inside_walks(mine, shared, speed_m_s=1.3)
    assert together.ms.tolist() == alone.ms.tolist()
    # once round a corner of the block, and nowhere between two nodes at one point
    assert together.line(0, 1) == alone.line(0, 1)
    assert len(alone.line(0, 1)) > 2
    assert together.ms[0, 2] == 0
