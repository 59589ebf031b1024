"""Several technicians, least longest round, on places of TSPLIB; the routing library beside it.

    python -m tests.bench.crew_minmax FOLDER TABLE [--seeds 1,2,3] [--only eil51 ...]
        [--iterations N] [--peer-s SECONDS]

FOLDER holds ``.gtsp`` files with coordinates or costs (clusters are not looked at), TABLE has a row
``places,technicians,longest_round_m`` for each case, with the best value that is known. Everybody
starts and ends at the first place. Gaps are in per cent over the table's value, below 0 where it is
beaten; idle is how many technicians visit nothing.
"""

import argparse
import csv
import re
import time
from pathlib import Path

import numpy as np

from greaseroute.solvers.arrays import IntArray
from greaseroute.solvers.vrp.problem import NO_LIMIT_MS, CrewProblem
from greaseroute.solvers.vrp.solve import solve_crew
from tests.bench import crew_peers
from tests.bench.gtsp_file import read_gtsp

MS = 1000  # a unit of length is walked in a second


def minmax_problem(apart: IntArray, technicians: int) -> CrewProblem:
    """All places but the first are units with one way and no work; whole seconds apart."""
    n, crew = len(apart), range(technicians)
    place = np.arange(1, n)
    return CrewProblem(
        travel_ms=np.stack([apart * MS for _ in crew]),
        length_mm=apart * MS,
        way_unit=place - 1,
        way_enter=place,
        way_leave=place.copy(),
        way_ms=np.zeros((technicians, n - 1), dtype=np.int64),
        way_loss=np.zeros(n - 1, dtype=np.int64),
        way_strokes=np.zeros((n - 1, 0), dtype=np.int64),
        skip_loss=np.full(n - 1, 1000, dtype=np.int64),
        window_ms=np.tile(np.array([0, NO_LIMIT_MS], dtype=np.int64), (n - 1, 1)),
        start_point=np.zeros(technicians, dtype=np.int64),
        finish_point=np.zeros(technicians, dtype=np.int64),
        start_ms=np.zeros(technicians, dtype=np.int64),
        end_ms=np.full(technicians, NO_LIMIT_MS, dtype=np.int64),
        store_points=np.zeros(0, dtype=np.int64),
        bag_cartridges=np.ones(technicians, dtype=np.int64),
        cartridge_strokes=np.zeros((technicians, 0), dtype=np.int64),
    )


def file_of(folder: Path, places: str) -> Path | None:
    """The file of an instance: its name may have the count of clusters before it."""
    for path in sorted(folder.glob("*.gtsp")):
        if re.fullmatch(rf"\d*{re.escape(places.lower())}", path.stem.lower()):
            return path
    return None


def measure(problem: CrewProblem, *, best: int, options: argparse.Namespace) -> list[float]:
    """Gap of each seed in per cent; prints the row of a case."""
    gaps, spent, idle = [], [], []
    for seed in options.seed_list:
        begun = time.process_time()
        plan = solve_crew(problem, seed=seed, iterations=options.iterations, bound_rounds=0)
        spent.append(time.process_time() - begun)
        gaps.append(100 * (plan.last_finish_ms / MS / best - 1))
        idle.append(sum(not r.visits for r in plan.rounds))
    row = f"{best:8}  gap % {np.round(gaps, 2)}  idle {idle}  s {np.round(spent, 1)}"
    if options.peer_s:
        found = crew_peers.routing_library(problem, limit_s=options.peer_s)
        row += "  peer none" if found is None else f"  peer {100 * (found / MS / best - 1):.2f} %"
    print(row, flush=True)
    return gaps


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folder", type=Path)
    parser.add_argument("table", type=Path)
    parser.add_argument("--seeds", default="1,2,3")
    parser.add_argument("--only", nargs="*", default=[])
    parser.add_argument("--iterations", type=int, default=None)
    parser.add_argument("--peer-s", type=float, default=0.0)
    options = parser.parse_args()
    options.seed_list = [int(seed) for seed in options.seeds.split(",")]
    with options.table.open(newline="") as rows:
        cases = [row for row in csv.DictReader(rows)]
    cases = [row for row in cases if not options.only or row["places"] in options.only]
    small = minmax_problem(np.ones((12, 12), dtype=np.int64), 2)
    solve_crew(small, iterations=400, bound_rounds=0, exact=False)  # compile, outside the clock
    medians = []
    for row in cases:
        path, crew = file_of(options.folder, row["places"]), int(row["technicians"])
        print(f"{row['places']:10}{crew:3}", end="", flush=True)
        if path is None:
            print("  left out: no such file in the folder")
            continue
        best = int(row["longest_round_m"])
        problem = minmax_problem(read_gtsp(path)[0], crew)
        medians.append(np.median(measure(problem, best=best, options=options)))
    print(f"medians: mean {np.mean(medians):.2f} %, worst {max(medians):.2f} %")


if __name__ == "__main__":
    main()
