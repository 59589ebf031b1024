"""Full distance matrices on parking grounds: this engine beside three others, in one run.

    python -m tests.bench.walk_matrix --machines 10,40,100,200,400 --peer-seconds 200

Scenes: N machines of about 10 m x 3.5 m at random headings, N/4 heaps, 4 points round each machine.
A peer that would take longer than ``--peer-seconds`` is sampled and its time computed from the
sample (marked ~). Seconds are seconds of processor unless said otherwise. Peers get what serves
them best: the union of the obstacles, and compiled Dijkstra for all pairs where they bring no
all-pairs search of their own.
"""

import argparse
import json
import math
import os
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np
import shapely
from scipy.sparse import coo_array
from scipy.sparse.csgraph import dijkstra
from shapely import affinity

from greaseroute.walk.ground import FreeGround
from tests.against.test_visibility_peers import (
    apart_scene,
    extremitypathfinder_m,
    pyvisgraph_m,
)
from tests.walk.scenes import largest_error, parked_machines

CELL_M = 0.5
SAMPLE = 24


def timed(work):
    """Result and seconds of processor: all that is compared runs on one core, on a busy machine."""
    began = time.process_time()
    result = work()
    return result, time.process_time() - began


def own_times(count, *, repeat):
    """Best of several: graph, matrix, and the sizes behind them."""
    boundary, shapes, points = parked_machines(count)
    best = {}
    for _ in range(repeat):
        ground, graph_s = timed(lambda: built(boundary, shapes))
        table, matrix_s = timed(lambda ground=ground: ground.distances_m(points))
        if not best or graph_s + matrix_s < best["graph_s"] + best["matrix_s"]:
            best = {"graph_s": graph_s, "matrix_s": matrix_s}
    sight = ground.sight
    return best | {
        "points": len(points), "corners": len(sight.corners.table),
        "links": len(sight.links.head), "joined": float(np.isfinite(table).mean()),
    }  # fmt: skip


def built(boundary, shapes, names=None):
    """A ground with its graph worked out."""
    ground = FreeGround(boundary, shapes, names=names)
    assert ground.sight is not None
    return ground


def whole_process(scene, cache):
    """Seconds of a fresh process from start to end, and what it printed."""
    environment = os.environ | {"NUMBA_CACHE_DIR": str(cache)}
    command = [sys.executable, "-m", "tests.bench.walk_child", str(scene)]
    began = time.perf_counter()
    done = subprocess.run(command, env=environment, check=True, capture_output=True)
    return {"process_s": time.perf_counter() - began} | json.loads(done.stdout)


def whole_processes(count):
    """The first run ever, with an empty cache of compiled code, and the best of two after it."""
    boundary, shapes, points = parked_machines(count)
    wkb = [np.array([shapely.to_wkb(s) for s in group]) for group in ([boundary], shapes)]
    with tempfile.TemporaryDirectory() as folder:
        scene = Path(folder) / "scene.npz"
        np.savez(scene, boundary=wkb[0].astype(object), shapes=wkb[1].astype(object), points=points)
        first, *later = (whole_process(scene, Path(folder) / "cache") for _ in range(3))
    return {"first": first, "cached": min(later, key=lambda run: run["cpu_s"])}


def union_rings(boundary, shapes):
    """Outlines of the obstacles' union, counter-clockwise, pockets left out."""
    parts = shapely.get_parts(shapely.union_all(shapes))
    return [list(shapely.Polygon(p.exterior).normalize().exterior.coords[:-1])[::-1] for p in parts]


def pyvisgraph_times(count, limit_s):
    """Visibility graph of the obstacles, sight of every point, compiled Dijkstra."""
    import pyvisgraph as vg
    from pyvisgraph.visible_vertices import visible_vertices

    boundary, shapes, points = parked_machines(count)
    rings = [[vg.Point(x, y) for x, y in r] for r in union_rings(boundary, shapes)]
    graph = vg.graph.Graph(rings)
    corners = graph.get_points()
    rng = np.random.default_rng(1)
    picked = [corners[i] for i in rng.choice(len(corners), min(SAMPLE, len(corners)), False)]
    spots = [vg.Point(x, y) for x, y in points]
    asked = [spots[i] for i in rng.choice(len(spots), min(SAMPLE, len(spots)), False)]
    _, build_s = timed(lambda: [visible_vertices(p, graph, scan="half") for p in picked])
    _, look_s = timed(lambda: [visible_vertices(p, graph) for p in asked])
    estimate_s = build_s / len(picked) * len(corners) + look_s / len(asked) * len(spots)
    if estimate_s > limit_s:
        return {"seconds": estimate_s, "sampled": True, "corners": len(corners)}

    def whole():
        world = vg.VisGraph()
        world.build(rings, status=False)
        edges = [(e.p1, e.p2) for e in world.visgraph.get_edges()]
        edges += [(p, q) for p in spots for q in world.find_visible(p)]
        number = {p: i for i, p in enumerate(dict.fromkeys([*spots, *corners]))}
        a, b = (np.array([number[e[k]] for e in edges]) for k in (0, 1))
        length = np.array([math.hypot(p.x - q.x, p.y - q.y) for p, q in edges])
        links = coo_array((length, (a, b)), shape=(len(number),) * 2)
        return dijkstra(links.tocsr(), directed=False, indices=np.arange(len(spots)))

    return {"seconds": timed(whole)[1], "sampled": False, "corners": len(corners)}


def extremitypathfinder_times(count):
    """Preparing, from two samples of its corners and all edges, and a sample of queries."""
    from extremitypathfinder.extremitypathfinder import PolygonEnvironment

    boundary, shapes, _ = parked_machines(count)
    world = PolygonEnvironment()
    holes = [r[::-1] for r in union_rings(boundary, shapes)]
    outer = list(boundary.exterior.coords[:-1])
    world.store(outer if boundary.exterior.is_ccw else outer[::-1], holes, validate=False)
    every = [v for p in world.polygons for v in p.extremities]
    sizes = sorted({min(20, len(every) // 2), min(40, len(every))})
    taken = []
    for size in sizes:
        world._all_extremities = set(every[:: max(1, len(every) // size)][:size])
        world.prepared = False
        taken.append(timed(world.prepare)[1])
    # time = linear * k + square * k^2 over k corners, through the two samples
    (k1, k2), (t1, t2) = sizes, taken
    square = max((t2 / k2 - t1 / k1) / (k2 - k1), 0.0)
    linear = t1 / k1 - square * k1
    prepare_s = max(linear, 0.0) * len(every) + square * len(every) ** 2
    return {"seconds": prepare_s, "sampled": True, "corners": len(every)}


def grid_times(count):
    """Eight neighbours on a grid, Dijkstra from a sample of points; and how much too long it is."""
    boundary, shapes, points = parked_machines(count)
    closed = shapely.union_all(shapes)

    def graph():
        x0, y0, x1, y1 = boundary.bounds
        xs, ys = np.arange(x0, x1 + CELL_M / 2, CELL_M), np.arange(y0, y1 + CELL_M / 2, CELL_M)
        grid_x, grid_y = np.meshgrid(xs, ys)
        shapely.prepare(closed)
        free = ~shapely.contains_xy(closed, grid_x.ravel(), grid_y.ravel())
        return grid_links(free.reshape(grid_x.shape)), (x0, y0, len(xs))

    (links, (x0, y0, columns)), build_s = timed(graph)
    column, row = np.rint((points - (x0, y0)) / CELL_M).astype(int).T
    cell = row * columns + column
    picked = np.arange(len(points))[:: max(1, len(points) // SAMPLE)]
    rows, search_s = timed(lambda: dijkstra(links, directed=False, indices=cell[picked]))
    exact = FreeGround(boundary, shapes).distances_between_m(points[picked], points)
    found = rows[:, cell]
    known = np.isfinite(exact) & np.isfinite(found) & (exact > 20)
    seconds = build_s + search_s / len(picked) * len(points)
    excess = float((found[known] / exact[known]).mean() - 1)
    return {"seconds": seconds, "sampled": True, "excess": excess}


def grid_links(free):
    """Links between free cells, straight and diagonal."""
    number = np.arange(free.size).reshape(free.shape)
    parts = []
    for down, right in ((0, 1), (1, 0), (1, 1), (1, -1)):
        a = number[: free.shape[0] - down, max(0, -right) : free.shape[1] - max(0, right)]
        b = number[down:, max(0, right) : free.shape[1] + min(0, right)]
        both = free.ravel()[a] & free.ravel()[b]
        length = np.full(both.sum(), CELL_M * math.hypot(down, right))
        parts.append((length, a[both], b[both]))
    length, a, b = (np.concatenate(p) for p in zip(*parts, strict=True))
    return coo_array((length, (a, b)), shape=(free.size, free.size)).tocsr()


def move_times(count, *, repeat):
    """One machine moved, and the rows of its points: seconds, beside a rebuild."""
    boundary, shapes, points = parked_machines(count)
    names = [str(k) for k in range(len(shapes))]
    ground = built(boundary, shapes, names)
    one, step = count // 2, (0.8, 0.5)
    moved = affinity.translate(shapes[one], *step)
    after = points.copy()
    mine = slice(4 * one, 4 * one + 4)
    after[mine] += step
    now = [*shapes[:one], moved, *shapes[one + 1 :]]
    out = {"change_s": [], "rows_s": [], "graph_s": [], "matrix_s": []}
    for _ in range(repeat):
        changed, s = timed(lambda: ground.with_changes(removed=[str(one)], added={str(one): moved}))
        out["change_s"].append(s)
        rows, s = timed(lambda g=changed: g.distances_between_m(after[mine], after))
        out["rows_s"].append(s)
        anew, s = timed(lambda: built(boundary, now))
        out["graph_s"].append(s)
        table, s = timed(lambda g=anew: g.distances_m(after))
        out["matrix_s"].append(s)
    error = largest_error(rows, table[mine])
    return {k: min(v) for k, v in out.items()} | {"error": error}


def agreement(scenes):
    """Largest relative difference from each peer over random scenes."""
    worst = {"pyvisgraph": 0.0, "extremitypathfinder": 0.0}
    for seed in range(scenes):
        boundary, shapes, points = apart_scene(1000 + seed)
        own = FreeGround(boundary, shapes).distances_m(points)
        peers = {
            "pyvisgraph": pyvisgraph_m(shapes, points),
            "extremitypathfinder": extremitypathfinder_m(boundary, shapes, points),
        }
        for name, table in peers.items():
            worst[name] = max(worst[name], largest_error(own, table))
    return worst


def peer_word(peer, own_s):
    """Seconds and ratio of a peer, with ~ where sampled."""
    mark = "~" if peer["sampled"] else " "
    return f"{mark}{peer['seconds']:9.1f} s ({peer['seconds'] / own_s:8.0f} x)"


def report(args):
    """Run all and print the table."""
    own_times(10, repeat=1)  # loads the compiled code
    totals, graphs = {}, {}
    print("   N points corners  links   graph s  matrix s   total s   pyvisgraph"
          "               extremitypathfinder      grid 0.5 m (excess)")  # fmt: skip
    for count in args.machines:
        own = own_times(count, repeat=args.repeat)
        totals[count] = own["graph_s"] + own["matrix_s"]
        graphs[count] = own["graph_s"]
        words = []
        if not args.no_peers:
            grid = grid_times(count)
            words = [
                peer_word(pyvisgraph_times(count, args.peer_seconds), totals[count]),
                peer_word(extremitypathfinder_times(count), totals[count]),
                f"{peer_word(grid, totals[count])} {100 * grid['excess']:.1f} % too long",
            ]
        print(
            f"{count:4d} {own['points']:6d} {own['corners']:7d} {own['links']:6d} "
            f"{own['graph_s']:9.3f} {own['matrix_s']:9.3f} {totals[count]:9.3f}  "
            + "  ".join(words), flush=True,
        )  # fmt: skip
    if {100, 400} <= set(args.machines):
        growth = math.log(graphs[400] / graphs[100]) / math.log(4)
        print(f"growth exponent of the graph from 100 to 400 machines: {growth:.2f}")
    for count in args.processes:
        both = whole_processes(count)
        for which, run in both.items():
            print(
                f"N = {count}, whole process, {which} run: {run['cpu_s']:.2f} s of processor "
                f"({run['process_s']:.2f} s by the clock), peak memory {run['peak_mib']:.0f} MiB",
                flush=True,
            )  # fmt: skip
    if args.move:
        move = move_times(args.move, repeat=args.repeat)
        change_s, anew_s = move["change_s"] + move["rows_s"], move["graph_s"] + move["matrix_s"]
        print(
            f"N = {args.move}, one machine moved: graph {move['change_s']:.3f} s + its rows "
            f"{move['rows_s']:.3f} s; rebuilt: graph {move['graph_s']:.3f} s + matrix "
            f"{move['matrix_s']:.3f} s; share {change_s / anew_s:.3f} "
            f"(largest relative difference {move['error']:.1e})", flush=True,
        )  # fmt: skip
    if args.scenes:
        for name, error in agreement(args.scenes).items():
            print(f"{args.scenes} random scenes, largest relative difference to {name}:", error)


def main():
    """Read the options and run."""
    numbers = lambda text: [int(n) for n in text.split(",") if n]  # noqa: E731
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--machines", type=numbers, default=[10, 40, 100, 200, 400])
    parser.add_argument("--peer-seconds", type=float, default=200.0)
    parser.add_argument("--no-peers", action="store_true")
    parser.add_argument("--processes", type=numbers, default=[100, 400])
    parser.add_argument("--move", type=int, default=400)
    parser.add_argument("--scenes", type=int, default=200)
    parser.add_argument("--repeat", type=int, default=3)
    report(parser.parse_args())


if __name__ == "__main__":
    main()
