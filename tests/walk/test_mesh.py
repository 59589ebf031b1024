"""Triangles, their neighbours, and corners."""

import numpy as np
import shapely
from shapely.geometry import box

from greaseroute.walk.corners import find_corners
from greaseroute.walk.ground import FreeGround
from greaseroute.walk.mesh import WALL, build_mesh
from greaseroute.walk.orientation import orientations
from tests.walk.scenes import random_scene


def test_triangles_cover_the_ground_and_turn_left():
    for seed in range(25):
        boundary, shapes, _ = random_scene(seed)
        free = FreeGround(boundary, shapes).free
        mesh = build_mesh([free])
        corners = mesh.xy[mesh.tri]
        assert np.isclose(shapely.area(shapely.polygons(corners)).sum(), free.area, rtol=1e-12)
        assert (orientations(*np.moveaxis(corners, 1, 0)) > 0).all()


def test_twins_run_the_other_way_and_walls_are_the_outline():
    free = FreeGround(box(0, 0, 20, 20), [box(5, 5, 9, 9), box(12, 3, 15, 17)]).free
    mesh = build_mesh([free])
    start, end = mesh.tri.ravel(), np.roll(mesh.tri, -1, axis=1).ravel()
    inner = np.flatnonzero(mesh.twin != WALL)
    assert (start[inner] == end[mesh.twin[inner]]).all()
    assert (mesh.twin[mesh.twin[inner]] == inner).all()
    walls = np.flatnonzero(mesh.twin == WALL)
    length = np.hypot(*(mesh.xy[start[walls]] - mesh.xy[end[walls]]).T).sum()
    assert length == free.length  # 80 + 16 + 34


def test_corners_are_where_the_ground_is_open_over_half_a_turn():
    # the four corners of the shed, not those of the yard, nor a vertex in the middle of a side
    shed = shapely.Polygon([(5, 5), (7, 5), (9, 5), (9, 9), (5, 9)])
    mesh = build_mesh([box(0, 0, 20, 20).difference(shed)])
    corners = find_corners(mesh)
    found = sorted(mesh.xy[corners.table[:, 0]].tolist())
    assert found == [[5, 5], [5, 9], [9, 5], [9, 9]]
    # its first wall, counter-clockwise through the free ground, leads along the shed
    for vertex, first, last, is_open in corners.table.tolist():
        a, b = mesh.xy[first] - mesh.xy[vertex], mesh.xy[last] - mesh.xy[vertex]
        assert a[0] * b[1] - a[1] * b[0] < 0
        assert is_open == 0
