"""Path lengths against two public visibility libraries, where they are installed.

pyvisgraph 0.2.1 (Lee's rotational sweep) and extremitypathfinder (reduced visibility graph). Scenes
are what both can take: convex obstacles that do not touch, inside a box; points in general place.
Both round their own geometry (pyvisgraph to ten digits), hence 1e-9 relative.
"""

import numpy as np
import pytest
from scipy.sparse.csgraph import dijkstra
from shapely.geometry import Point, Polygon, box

from greaseroute.walk.ground import FreeGround
from tests.walk.scenes import largest_error, star

SCENES = 12  # the benchmark compares 200


def apart_scene(seed):
    """Convex obstacles at least 0.2 m apart in a 30 m box, and free points."""
    rng = np.random.default_rng(seed)
    boundary, shapes = box(0, 0, 30, 30), []
    for _ in range(30):
        shape = star(rng, least_m=1.0, centre=rng.uniform(5, 25, 2)).convex_hull
        if shape.area > 1 and all(shape.distance(s) > 0.2 for s in shapes) and len(shapes) < 9:
            shapes.append(shape)
    points = []
    while len(points) < 6:
        point = rng.uniform(1, 29, 2)
        if all(s.distance(Point(point)) > 0.2 for s in shapes):
            points.append(tuple(point))
    return boundary, shapes, np.array(points)


def pyvisgraph_m(shapes, points):
    vg = pytest.importorskip("pyvisgraph")
    graph = vg.VisGraph()
    rings = [[vg.Point(x, y) for x, y in s.exterior.coords[:-1]] for s in shapes]
    graph.build(rings, status=False)
    nodes = [vg.Point(x, y) for x, y in points]
    number = {p: i for i, p in enumerate([*nodes, *(p for ring in rings for p in ring)])}
    weight = np.zeros((len(number), len(number)))
    edges = [(e.p1, e.p2) for e in graph.visgraph.get_edges()]
    for node in nodes:
        edges += [(node, p) for p in graph.find_visible(node)]
    from pyvisgraph.visible_vertices import visible_vertices

    for i, a in enumerate(nodes):
        for b in nodes[:i]:
            if b in visible_vertices(a, graph.graph, destination=b):
                edges.append((a, b))
    for a, b in edges:
        i, j = number[a], number[b]
        weight[i, j] = weight[j, i] = np.hypot(a.x - b.x, a.y - b.y)
    return dijkstra(weight, indices=np.arange(len(nodes)))[:, : len(nodes)]


def extremitypathfinder_m(boundary, shapes, points):
    module = pytest.importorskip("extremitypathfinder.extremitypathfinder")
    environment = module.PolygonEnvironment()
    outline = Polygon(boundary.exterior.coords[::1])
    outer = list(outline.exterior.coords[:-1])
    outer = outer if outline.exterior.is_ccw else outer[::-1]
    holes = [list(s.exterior.coords[:-1]) for s in shapes]
    holes = [
        h[::-1] if s.exterior.is_ccw else h for h, s in zip(holes, shapes, strict=True)
    ]  # outlines run counter-clockwise, holes clockwise
    environment.store(outer, holes, validate=False)
    environment.prepare()
    out = np.zeros((len(points), len(points)))
    for i in range(len(points)):
        for j in range(i):
            _, length = environment.find_shortest_path(tuple(points[i]), tuple(points[j]))
            out[i, j] = out[j, i] = length
    return out


@pytest.mark.parametrize("seed", range(SCENES))
def test_pyvisgraph_finds_the_same_lengths(seed):
    boundary, shapes, points = apart_scene(seed)
    wanted = pyvisgraph_m(shapes, points)
    assert largest_error(FreeGround(boundary, shapes).distances_m(points), wanted) < 1e-9


@pytest.mark.parametrize("seed", range(SCENES))
def test_extremitypathfinder_finds_the_same_lengths(seed):
    boundary, shapes, points = apart_scene(seed)
    wanted = extremitypathfinder_m(boundary, shapes, points)
    assert largest_error(FreeGround(boundary, shapes).distances_m(points), wanted) < 1e-9
