"""Cluster tours on public instances, and on made ones, beside general engines in the same run.

    python -m tests.bench.clusters_gtsplib FOLDER [--seconds 10] [--seeds 3] [--only NAME ...]
        [--peers] [--made] [--planted] [--long-s 60]

FOLDER holds ``.gtsp`` files and ``reference.csv``. Gaps are over the best known cost; without one,
and for made instances, the best of one run of ``--long-s`` and of these runs stands in, marked ~.
Planted instances are made with their least cost known.
"""

import argparse
import time
from pathlib import Path

import numpy as np

from greaseroute.solvers.gtsp.solve import solve_clusters
from tests.bench import clusters_peers
from tests.bench.clusters_families import SLACK, families, planted
from tests.bench.clusters_made import plane, site
from tests.bench.gtsp_file import best_known, read_gtsp


def made_instances():
    """Instances nobody was given: the plane, many families, yards with ways in and out."""
    for nodes in (150, 300, 600):
        for kind in ("even", "heaps", "uneven ways"):
            yield f"{kind.replace(' ', '-')}-{nodes}", plane(nodes, seed=nodes + 7, kind=kind)
    for nodes in (400, 1000):
        yield from families(nodes)
    for units in (40, 100):
        yield f"yard-{units}", site(units, seed=units)


def planted_instances():
    """Instances with a known least cost: ``(name, problem), least cost``."""
    for size in (20, 50, 100, 200):
        for kind in SLACK:
            for draw in (1, 2):
                cost, clusters, least = planted(size, np.random.default_rng(size + draw), kind)
                yield (f"{kind}-{size}-{draw}", (cost, clusters)), least


def measure(name, problem, *, known, options):
    """One row: runs over all seeds, gaps of cost and bound; prints it and returns its numbers."""
    cost, clusters = problem
    runs, spent = [], []
    for seed in range(1, options.seeds + 1):
        begin = time.perf_counter()
        runs.append(solve_clusters(cost, clusters, options.seconds, seed))
        spent.append(time.perf_counter() - begin)
    best, mark = known, " "
    if best is None:
        mark = "~"
        best = solve_clusters(cost, clusters, options.long_s, 99, bound_s=0.0).cost
        best = min([best] + [run.cost for run in runs])
    too_high = max(run.lower_bound for run in runs) > best
    gaps = [100 * (run.cost / best - 1) for run in runs]
    bounds = [100 * (1 - run.lower_bound / best) for run in runs]
    row = {"ours": gaps, "bound": bounds, "invalid": too_high}
    if options.peers:
        row |= _peers(cost, clusters, min(runs, key=lambda run: run.cost), best, options)
    peers = "".join(f" {key} {sum(row[key]) / len(row[key]):6.2f}" for key in PEERS if key in row)
    print(
        f"{name:16} {best:9d}{mark} ours {' '.join(f'{g:6.3f}' for g in gaps)}  bound gap "
        f"{' '.join(f'{b:6.2f}' for b in bounds)}  {max(spent):5.1f} s{peers}"
        f"{'  BOUND TOO HIGH' if too_high else ''}",
        flush=True,
    )
    return row


PEERS = ("routing", "pyvrp")


def _peers(cost, clusters, tour, best, options):
    smallest = min(clusters, key=len)
    node = next(v for v in tour.order if v in smallest)
    routing = clusters_peers.routing_library(cost, clusters, node, limit_s=options.seconds)
    others = [
        clusters_peers.pyvrp(cost, clusters, node, limit_s=options.seconds, seed=seed)
        for seed in range(1, options.seeds + 1)
    ]
    return {
        "routing": [100 * (routing / best - 1)],
        "pyvrp": [100 * (value / best - 1) for value in others if value >= 0],
    }


def main():
    """Run what was asked for and print the rows and their mean and worst."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("folder", type=Path)
    parser.add_argument("--seconds", type=float, default=10.0)
    parser.add_argument("--seeds", type=int, default=3)
    parser.add_argument("--only", nargs="*", default=None)
    parser.add_argument("--peers", action="store_true")
    parser.add_argument("--made", action="store_true")
    parser.add_argument("--planted", action="store_true")
    parser.add_argument("--long-s", type=float, default=60.0)
    options = parser.parse_args()
    solve_clusters(*plane(60, seed=1), iterations=1000)  # compiles, outside the clock
    known = best_known(options.folder)
    cases = [(path.stem, read_gtsp(path)) for path in sorted(options.folder.glob("*.gtsp"))]
    cases = list(made_instances()) if options.made else cases
    if options.planted:
        told = list(planted_instances())
        cases, known = [case for case, _ in told], {case[0]: least for case, least in told}
    cases = [case for case in cases if options.only is None or case[0] in options.only]
    cases.sort(key=lambda case: len(case[1][1]))
    rows = [measure(name, it, known=known.get(name), options=options) for name, it in cases]
    for key in ("ours", "bound", *PEERS):
        values = [value for row in rows for value in row.get(key, [])]
        if values:
            print(f"{key:8} mean {sum(values) / len(values):.3f} %  worst {max(values):.3f} %")
    print(f"bounds too high: {sum(row['invalid'] for row in rows)}")


if __name__ == "__main__":
    main()
