"""The crew's search on time-window instances and generated sites: finish, bound, seconds.

    python -m tests.bench.crew_windows FOLDER [--iterations N] [--seeds 1,2,3] [--sites 40,100]

FOLDER holds the clustered instances (``*.gtsp``) with their window variants in ``tw/*.json``:
windows per cluster around its time in a known tour of length ``planted_length``. One unit of
length is one second of walking here, so that times are whole milliseconds.
"""

import argparse
import json
import time
from pathlib import Path

import numpy as np

from greaseroute.solvers.vrp.problem import NO_LIMIT_MS, CrewProblem
from greaseroute.solvers.vrp.solve import solve_crew, with_bound

MS = 1000
OPEN_FROM = 10**9  # a window that ends here is none


def read_instance(path: Path) -> tuple[np.ndarray, list[list[int]]]:
    """Distances and clusters (nodes from 0) of a clustered instance with coordinates."""
    places, clusters, section, ceiling = [], [], "", False
    for line in path.read_text().splitlines():
        words = line.replace(":", " : ").split()
        if not words or words[0] == "EOF":
            continue
        if words[0].isupper() or words[0].endswith("_SECTION"):
            section = words[0]
            ceiling |= words[0] == "EDGE_WEIGHT_TYPE" and words[-1] == "CEIL_2D"
        elif section == "NODE_COORD_SECTION":
            places.append([float(words[1]), float(words[2])])
        elif section == "GTSP_SET_SECTION":
            clusters.append([int(w) - 1 for w in words[1:] if w != "-1"])
    xy = np.array(places)
    apart = np.hypot(*(xy[:, None] - xy[None, :]).transpose(2, 0, 1))
    return (np.ceil(apart) if ceiling else np.floor(apart + 0.5)).astype(np.int64), clusters


def windowed(apart: np.ndarray, clusters: list[list[int]], variant: dict) -> CrewProblem:
    """One technician from the depot node and back; a way is a node; the depot's cluster is out."""
    depot = variant["depot"]
    windows = variant["windows"]
    rows = [(c, node) for c, nodes in enumerate(clusters) if depot not in nodes for node in nodes]
    numbers = {c: k for k, c in enumerate(dict.fromkeys(c for c, _ in rows))}
    nodes = np.array([node for _, node in rows], dtype=np.int64)
    lo_hi = np.array([windows[c] for c in numbers], dtype=np.int64)
    ends = np.where(lo_hi[:, 1] >= OPEN_FROM, NO_LIMIT_MS, lo_hi[:, 1] * MS)
    return _problem(
        travel=apart[None] * MS,
        length=apart * MS,
        unit=np.array([numbers[c] for c, _ in rows], dtype=np.int64),
        points=(nodes, nodes),
        work=np.zeros((1, nodes.size), dtype=np.int64),
        window=np.stack([lo_hi[:, 0] * MS, ends], axis=1),
        home=depot,
    )


def _problem(*, travel, length, unit, points, work, window, home, fixed=None) -> CrewProblem:
    technicians, units = travel.shape[0], window.shape[0]
    return CrewProblem(
        travel_ms=np.ascontiguousarray(travel),
        length_mm=length,
        way_unit=unit,
        way_enter=points[0],
        way_leave=points[1],
        way_ms=work,
        way_loss=np.zeros(unit.size, dtype=np.int64),
        way_strokes=np.zeros((unit.size, 0), dtype=np.int64),
        skip_loss=np.full(units, 1000, dtype=np.int64),
        window_ms=window,
        start_point=np.full(technicians, home, dtype=np.int64),
        finish_point=np.full(technicians, home, dtype=np.int64),
        start_ms=np.zeros(technicians, dtype=np.int64),
        end_ms=np.full(technicians, NO_LIMIT_MS, dtype=np.int64),
        store_points=np.zeros(0, dtype=np.int64),
        bag_cartridges=np.full(technicians, 99, dtype=np.int64),
        cartridge_strokes=np.zeros((technicians, 0), dtype=np.int64),
        way_fixed_ms=fixed,
    )


def generated(units: int, technicians: int, *, ways: int = 8, seed: int = 1) -> CrewProblem:
    """Units strewn over a square of 60 m a side per unit, six places around each, paths straight.

    3 to 10 minutes of fixed work at a unit, up to 90 s more by the way that is taken.
    """
    rng = np.random.default_rng(seed)
    side = 60.0 * units**0.5
    centre = rng.uniform(0, side, (units, 2))
    angle = rng.uniform(0, 2 * np.pi, (units, 6))
    round_it = centre[:, None, :] + 4 * np.stack([np.cos(angle), np.sin(angle)], axis=2)
    xy = np.concatenate([round_it.reshape(-1, 2), [[side / 2, 0.0]]])
    apart = np.hypot(*(xy[:, None] - xy[None, :]).transpose(2, 0, 1))
    unit = np.repeat(np.arange(units), ways)
    ends = 6 * unit[:, None] + rng.integers(0, 6, (unit.size, 2))
    fixed = rng.integers(180_000, 600_000, units)[unit]
    work = np.tile(fixed + rng.integers(0, 90_000, unit.size), (technicians, 1))
    return _problem(
        travel=np.tile(np.round(apart / 1.2 * MS).astype(np.int64), (technicians, 1, 1)),
        length=np.round(apart * 1000).astype(np.int64),
        unit=unit,
        points=(ends[:, 0].copy(), ends[:, 1].copy()),
        work=work,
        window=np.tile(np.array([0, NO_LIMIT_MS]), (units, 1)),
        home=xy.shape[0] - 1,
        fixed=np.tile(fixed, (technicians, 1)),
    )


def run_windows(folder: Path, iterations: int | None, seeds: list[int]) -> None:
    print("instance            seed  left  finish  planted     gap %  seconds")
    for path in sorted((folder / "tw").glob("*.json")):
        variant = json.loads(path.read_text())
        source = folder / f"{variant['instance']}.gtsp"
        if not source.exists():
            print(f"{path.stem:20}left out: {source.name} is not in the folder")
            continue
        apart, clusters = read_instance(source)
        problem = windowed(apart, clusters, variant)
        for seed in seeds:
            begun = time.process_time()
            plan = solve_crew(problem, seed=seed, iterations=iterations, bound_rounds=0)
            took = time.process_time() - begun
            planted, finish = variant["planted_length"], plan.last_finish_ms / MS
            gap = 100 * (finish - planted) / planted
            left = len(plan.skipped)
            print(f"{path.stem:20}{seed:4}{left:6}{finish:8.0f}{planted:9}{gap:10.3f}{took:9.1f}")


def run_sites(sites: list[int], iterations: int | None, seeds: list[int], rounds: int) -> None:
    print("units  technicians  seed  finish s   bound s  gap % of route part   search s  bound s")
    for units in sites:
        technicians = 2 if units < 200 else 3
        problem = generated(units, technicians)
        for seed in seeds:
            begun = time.process_time()
            plan = solve_crew(problem, seed=seed, iterations=iterations, bound_rounds=0)
            searched = time.process_time() - begun
            plan = with_bound(problem, plan, rounds=rounds) if rounds else plan
            bound = plan.bound
            print(
                f"{units:5}{technicians:13}{seed:6}{plan.last_finish_ms / MS:10.1f}"
                f"{bound.lower_ms / MS:10.1f}{bound.gap_pct if rounds else -1:21.2f}"
                f"{searched:11.1f}{time.process_time() - begun - searched:9.1f}",
                flush=True,
            )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folder", type=Path)
    parser.add_argument("--iterations", type=int, default=None)
    parser.add_argument("--seeds", default="1,2,3")
    parser.add_argument("--sites", default="40,100,200,400")
    parser.add_argument("--rounds", type=int, default=100)
    args = parser.parse_args()
    seeds = [int(s) for s in args.seeds.split(",")]
    solve_crew(
        generated(9, 2), iterations=1, bound_rounds=0, exact=False
    )  # compile, outside the clock
    run_windows(args.folder, args.iterations, seeds)
    run_sites([int(n) for n in args.sites.split(",") if n], args.iterations, seeds, args.rounds)


if __name__ == "__main__":
    main()
