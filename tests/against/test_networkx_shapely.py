"""Shortest walks against the plainest method there is, with two libraries that share no code.

shapely decides for every pair of corners whether the straight line stays on free ground, and
networkx (E. W. Dijkstra 1959) finds the shortest way over those lines. Tolerance: 1e-9 relative.
"""

import itertools

import networkx as nx
import numpy as np
import pytest
import shapely
from shapely.geometry import LineString, Polygon, box

from greaseroute.walk.ground import FreeGround

YARD = box(0, 0, 60, 40)


def _obstacles(seed: int) -> list[Polygon]:
    rng = np.random.default_rng(seed)
    shapes = []
    for x, y in itertools.product((12, 30, 48), (12, 28)):
        angle = np.sort(rng.uniform(0, 2 * np.pi, 7))
        radius = rng.uniform(2.0, 7.5, 7)
        ring = np.column_stack([x + radius * np.cos(angle), y + radius * np.sin(angle)])
        shape = Polygon(ring)
        if shape.is_valid and shape.area > 1:
            shapes.append(shape)
    return shapes


def _plain_distances(free: shapely.Geometry, points: np.ndarray) -> np.ndarray:
    nodes = np.vstack([points, shapely.get_coordinates(free)])
    room = free.buffer(1e-9)
    shapely.prepare(room)
    graph: nx.Graph = nx.Graph()
    graph.add_nodes_from(range(len(nodes)))
    for a, b in itertools.combinations(range(len(nodes)), 2):
        line = LineString([nodes[a], nodes[b]])
        if shapely.covers(room, line):
            graph.add_edge(a, b, weight=line.length)
    lengths = dict(nx.all_pairs_dijkstra_path_length(graph))
    n = len(points)
    return np.array([[lengths[i].get(j, np.inf) for j in range(n)] for i in range(n)])


@pytest.mark.parametrize("seed", range(6))
def test_same_lengths(seed: int) -> None:
    shapes = _obstacles(seed)
    free = YARD.difference(shapely.union_all(shapes))
    points = np.random.default_rng(100 + seed).uniform((1, 1), (59, 39), (30, 2))
    points = points[shapely.intersects_xy(free, points[:, 0], points[:, 1])][:8]
    assert len(points) == 8
    found = FreeGround(YARD, shapes).distances_m(points)
    np.testing.assert_allclose(found, _plain_distances(free, points), rtol=1e-9)
