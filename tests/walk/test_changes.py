"""A changed ground equals one built anew, and shares what the change did not touch."""

import numpy as np
import pytest
from shapely import affinity
from shapely.geometry import box

from greaseroute.errors import UnknownName
from greaseroute.walk.ground import FreeGround
from tests.walk.scenes import largest_error, parked_machines, random_scene


def moved(rng, shape):
    if rng.random() < 0.7:
        return affinity.translate(shape, *rng.uniform(-5, 5, 2))
    return affinity.rotate(shape, rng.uniform(0, 360))


@pytest.mark.parametrize("seed", range(40))
def test_three_moves_in_a_row_equal_a_new_ground(seed):
    boundary, shapes, rng = random_scene(seed)
    clearance_m = 0.2 * (seed % 2)
    now = {str(k): shape for k, shape in enumerate(shapes)}
    ground = FreeGround(boundary, shapes, clearance_m, names=list(now))
    assert ground.sight is not None
    x0, y0, x1, y1 = boundary.bounds
    for _ in range(3):
        name = str(rng.choice(list(now)))
        now[name] = moved(rng, now.pop(name))
        ground = ground.with_changes(removed=[name], added={name: now[name]})
        anew = FreeGround(boundary, list(now.values()), clearance_m, names=list(now))
        points = rng.uniform((x0, y0), (x1, y1), (10, 2))
        # 1e-8: the patch rounds its new crossings apart from those of a ground built anew
        assert largest_error(ground.distances_m(points), anew.distances_m(points)) < 1e-8


def test_closing_and_opening_a_zone():
    zone = box(4, -50, 6, 50)
    open_ground = FreeGround(box(-20, -20, 20, 20), [box(0, 0, 1, 1)], names=["shed"])
    pair = [(-5, 5), (10, 5)]
    assert open_ground.distances_m(pair)[0, 1] == 15.0
    shut = open_ground.with_changes(added={"blasting": zone})
    assert shut.path(*pair).where == "blasting"
    again = shut.with_changes(removed=["blasting"])
    assert again.distances_m(pair)[0, 1] == pytest.approx(15.0, rel=1e-15)
    assert open_ground.distances_m(pair)[0, 1] == 15.0  # the first one stays as it was


def test_few_corners_look_again_when_one_machine_of_many_moves():
    boundary, shapes, _ = parked_machines(60)
    names = [str(k) for k in range(len(shapes))]
    ground = FreeGround(boundary, shapes, names=names)
    before = ground.sight
    shape = affinity.translate(shapes[30], 0.7, 0.4)
    after = ground.with_changes(removed=["30"], added={"30": shape}).sight
    kept = {tuple(row) for row in before.places[before.links.tail].tolist()}
    assert len(after.corners.table) == pytest.approx(len(before.corners.table), abs=30)
    assert np.isin(after.mesh.xy.view(complex), before.mesh.xy.view(complex)).mean() > 0.9
    assert len(kept) > 300


def test_unknown_names_are_refused():
    ground = FreeGround(box(0, 0, 9, 9), [box(1, 1, 2, 2)], names=["shed"])
    with pytest.raises(UnknownName, match="obstacle to remove: 'barn'; allowed: a name of this"):
        ground.with_changes(removed=["barn"])
