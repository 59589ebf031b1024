"""The crew's search on public travelling-salesman instances with time windows.

    python -m tests.bench.crew_tsptw FOLDER [--seeds 1,2,3] [--only NAME ...] [--iterations N]
        [--peer-s SECONDS]

FOLDER holds one folder per family with its instances and, if proven values are known,
``makespans.csv`` (family, file, best_makespan). All instances have a tour within all windows; what
is left out of one, how long it took and how far the time of return is over the proven one are told.
With ``--peer-s`` the routing library gets so many seconds beside.
"""

import argparse
import time
from pathlib import Path

import numpy as np

from greaseroute.solvers.vrp.solve import solve_crew
from tests.bench import crew_peers
from tests.bench.tsptw_file import TICKS, proven_makespans, read_tsptw

ROUNDED = 0.01  # tables of proven values are rounded by so much


def measure(path: Path, *, proven: int | None, options: argparse.Namespace) -> dict[str, object]:
    """All seeds on one instance: places left out, seconds, how far over the proven makespan."""
    problem = read_tsptw(path)
    left, over, spent = [], [], []
    for seed in options.seed_list:
        begun = time.process_time()
        plan = solve_crew(problem, seed=seed, iterations=options.iterations, bound_rounds=0)
        spent.append(time.process_time() - begun)
        left.append(len(plan.skipped))
        over.append(None if proven is None else (plan.last_finish_ms - proven) / TICKS)
    beside = ""
    if options.peer_s:
        found = crew_peers.routing_library(problem, limit_s=options.peer_s)
        beside = "  peer none" if found is None else f"  peer {found / TICKS:.4f}"
    name = f"{path.parent.name}/{path.name}"
    print(
        f"{name:44}{problem.units:5}  left {left}  over {over}  s {np.round(spent, 1)}{beside}",
        flush=True,
    )
    return {"family": path.parent.name, "left": left, "over": over, "spent": spent}


def summary(rows: list[dict[str, object]]) -> None:
    """Per family: instances served in full by every seed, proven values met, longest run."""
    for family in sorted({row["family"] for row in rows}):
        own = [row for row in rows if row["family"] == family]
        full = sum(not any(row["left"]) for row in own)
        told = [x for row in own for x in row["over"] if x is not None]
        met = sum(x <= ROUNDED for x in told)
        worst = max(max(row["spent"]) for row in own)
        print(f"{family:24}{full} of {len(own)} in full, {met} of {len(told)} met, {worst:.1f} s")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folder", type=Path)
    parser.add_argument("--seeds", default="1")
    parser.add_argument("--only", nargs="*", default=[])
    parser.add_argument("--iterations", type=int, default=None)
    parser.add_argument("--peer-s", type=float, default=0.0)
    options = parser.parse_args()
    options.seed_list = [int(seed) for seed in options.seeds.split(",")]
    table = options.folder / "makespans.csv"
    proven = proven_makespans(table) if table.exists() else {}
    paths = [p for p in sorted(options.folder.glob("*/*")) if p.is_file()]
    paths = [p for p in paths if not options.only or any(o in str(p) for o in options.only)]
    solve_crew(read_tsptw(paths[0]), iterations=400, bound_rounds=0, exact=False)  # compile
    rows = [measure(p, proven=proven.get((p.parent.name, p.name)), options=options) for p in paths]
    summary(rows)


if __name__ == "__main__":
    main()
