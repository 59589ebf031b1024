"""Random scenes, and shortest paths by brute force, to hold the engine against."""

import numpy as np
import shapely
from scipy.sparse.csgraph import dijkstra
from shapely import affinity
from shapely.geometry import Polygon, box
from shapely.geometry.base import BaseGeometry

from greaseroute.walk.terrain import tobler_m_s

KINDS = ("stars", "convex", "lattice", "lattice triangles", "with holes")


def star(rng, *, least_m=0.5, most_m=4.0, centre=None):
    """A star-shaped polygon of 3 to 8 vertices."""
    count = int(rng.integers(3, 9))
    angle = np.sort(rng.uniform(0, 2 * np.pi, count))
    far = rng.uniform(least_m, most_m, count)
    x, y = rng.uniform(0, 20, 2) if centre is None else centre
    return Polygon(np.c_[x + far * np.cos(angle), y + far * np.sin(angle)])


def _shape(rng, kind):
    if kind == "stars":
        return star(rng)
    if kind == "convex":
        return star(rng).convex_hull
    x, y = (float(v) for v in rng.integers(0, 10, 2) * 2)
    if kind == "lattice":  # squares that share edges, corners and lines
        width, height = (float(v) for v in rng.integers(1, 4, 2) * 2)
        return box(x, y, x + width, y + height)
    if kind == "lattice triangles":
        a, b, c = (float(v) for v in rng.integers(1, 6, 3))
        return Polygon([(x, y), (x + a, y), (x + b - 1, y + c)])
    hull = star(rng, least_m=2.0).convex_hull
    return hull.difference(affinity.scale(hull, 0.5, 0.5, origin="centroid"))


def random_scene(seed, *, kinds=KINDS, most=13):
    """A boundary and some obstacles, overlapping as it comes, half of them turned."""
    rng = np.random.default_rng(seed)
    kind = kinds[int(rng.integers(len(kinds)))]
    shapes = [_shape(rng, kind) for _ in range(int(rng.integers(1, most + 1)))]
    shapes = [s for s in shapes if s.is_valid and s.area > 0.01] or [box(5, 5, 8, 9)]
    turn = rng.uniform(0, 360) if rng.random() < 0.5 else 0.0
    turned = [affinity.rotate(s, turn, origin=(0, 0)) for s in [box(-3, -3, 25, 25), *shapes]]
    return turned[0], turned[1:], rng


def random_points(rng, free: BaseGeometry, count=8):
    """Free points: anywhere, on corners, and on edges."""
    x0, y0, x1, y1 = free.bounds
    anywhere = rng.uniform((x0, y0), (x1, y1), (count, 2))
    corners = shapely.get_coordinates(free)
    corners = corners[rng.integers(0, len(corners), 3)]
    edge = free.boundary
    on_edge = [edge.interpolate(rng.uniform(0, edge.length)).coords[0] for _ in range(3)]
    points = np.concatenate([anywhere, corners, on_edge])
    return np.unique(points[shapely.distance(free, shapely.points(points)) < 1e-9], axis=0)


def brute_force_m(free: BaseGeometry, points):
    """All pairs of points and vertices tested with shapely, then scipy's Dijkstra."""
    nodes = np.r_[points, np.unique(shapely.get_coordinates(free), axis=0)]
    i, j = np.triu_indices(len(nodes), 1)
    lines = shapely.linestrings(np.stack([nodes[i], nodes[j]], axis=1))
    grown = free.buffer(2e-11, join_style="mitre")  # or rounding puts half the edges outside
    shapely.prepare(grown)
    seen = shapely.covers(grown, lines) | (nodes[i] == nodes[j]).all(axis=1)
    weight = np.zeros((len(nodes), len(nodes)))
    weight[i[seen], j[seen]] = np.maximum(np.hypot(*(nodes[i] - nodes[j]).T)[seen], 1e-14)
    near = dijkstra(np.maximum(weight, weight.T), indices=np.arange(len(points)))
    return near[:, : len(points)]


def largest_error(found, wanted):
    """Largest relative difference, infinity where only one has a path."""
    if (np.isfinite(found) != np.isfinite(wanted)).any():
        return np.inf
    known = np.isfinite(wanted)
    gap = np.abs(found[known] - wanted[known])
    return float((gap / np.maximum(wanted[known], 1e-3)).max(initial=0.0))


def parked_machines(count, seed=1):
    """A parking ground: machines of about 10 m x 3.5 m, a quarter as many heaps, 4 points each."""
    rng = np.random.default_rng(seed)
    columns = int(np.ceil(np.sqrt(count)))
    cell = np.sqrt(220.0)
    side = columns * cell
    machines, points = [], []
    for k in range(count):
        centre = (np.array([k % columns, k // columns]) + 0.5 + rng.uniform(-0.15, 0.15, 2)) * cell
        turn = rng.uniform(0, 360)
        machines.append(_placed(_outline(rng), turn, centre))
        ring = _placed(box(-5.6, -2.4, 5.6, 2.4), turn, centre).exterior.coords[:4]
        points += list(ring)
    heaps = [_heap(rng, side) for _ in range(count // 4)]
    return box(-10, -10, side + 10, side + 10), machines + heaps, np.array(points)


def _placed(shape, turn, centre):
    return affinity.translate(affinity.rotate(shape, turn, origin=(0, 0)), *centre)


def _outline(rng):
    """8 to 16 vertices of a rounded box of 10 m x 3.5 m."""
    while True:
        angle = np.sort(rng.uniform(0, 2 * np.pi, int(rng.integers(8, 17))))
        c, s = np.cos(angle), np.sin(angle)
        ring = np.c_[5 * np.sign(c) * np.abs(c) ** 0.5, 1.75 * np.sign(s) * np.abs(s) ** 0.5]
        hull = Polygon(ring).convex_hull
        if len(hull.exterior.coords) > 8 and hull.area > 20:
            return hull


def _heap(rng, side):
    count = int(rng.integers(10, 41))
    angle = np.linspace(0, 2 * np.pi, count, endpoint=False)
    far = rng.uniform(1.2, 3.0, count)
    x, y = rng.uniform(0, side, 2)
    return Polygon(np.c_[x + far * np.cos(angle), y + far * np.sin(angle)])


def slope_factor(slope):
    """Time on a slope over time on the level, after Tobler 1993 (6 exp(-3.5 |S + 0.05|) km/h)."""
    return tobler_m_s(0.0) / tobler_m_s(slope)
