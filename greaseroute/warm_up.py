"""Compile the kernels now, so that no round waits for them: verb ``warm-up``.

Each stage is run once on a handful of invented numbers: what is computed here is of no interest.
Half of the stages are left to a copy of the process. ``python -m greaseroute.warm_up`` does the
same without a word.
"""

import time
from collections.abc import Callable, Sequence

import numpy as np
from shapely.geometry import box

from greaseroute.kernel_cache import missing_kernels, take_over, told, unwritten
from greaseroute.processes import Aside
from greaseroute.solvers.gtsp.solve import solve_clusters
from greaseroute.solvers.stop import StopRule
from greaseroute.solvers.unit_tour import UnitTour, all_ways
from greaseroute.solvers.vrp.columns.loop import ColumnGeneration, RoundsTask
from greaseroute.solvers.vrp.problem import CrewProblem
from greaseroute.solvers.vrp.solve import solve_crew
from greaseroute.solvers.vrp.thinning import most_dearer
from greaseroute.stands.kernel_sight_line import cut_first
from greaseroute.walk.ground import FreeGround
from greaseroute.walk.slow import SlowArea

POINTS = [(1.0, 1.0), (1.0, 19.0), (38.0, 10.0)]


def _walk() -> None:
    slow = [SlowArea(box(30, 0, 35, 20), 1.3)]
    heights = [(0.0, 0.0, 0.0), (40.0, 0.0, 1.0), (0.0, 20.0, 1.0), (40.0, 20.0, 3.0)]
    yard, wall = box(0, 0, 40, 20), [box(10, 3, 20, 17)]
    for ground in (
        FreeGround(yard, wall, 0.25),
        FreeGround(yard, wall, 0.25, slow=slow, heights=heights),
    ):
        ground.distances_m(POINTS)
        ground.path(POINTS[0], POINTS[2])
        ground.travel(POINTS, slide=False)


def _sight() -> None:
    ends = np.zeros((1, 3))
    cut_first(
        ends,
        ends + 1.0,
        np.ones(1),
        np.ones((1, 4)),
        np.zeros(1, np.int64),
        0.0,
        np.zeros(1, np.int64),
    )


def _unit() -> None:
    two = np.zeros(2, dtype=np.int64)
    moves = np.array([[0, 5], [5, 0]])
    none = np.zeros((2, 2), dtype=bool)
    all_ways(UnitTour(two, two, moves, np.eye(2, dtype=bool), none, none, np.zeros((2, 2), int)))


def _clusters() -> None:
    rng = np.random.default_rng(1)
    for clusters in (5, 16):
        at = rng.integers(0, 1000, (2 * clusters, 2))
        cost = np.abs(at[:, None] - at[None, :]).sum(axis=2)
        cost[0, 1] += 1  # a cost that is not symmetric takes every path through the code
        groups = [[2 * k, 2 * k + 1] for k in range(clusters)]
        solve_clusters(cost, groups, iterations=50)


def _crew() -> None:
    solve_crew(_crew_problem(2, units=10), iterations=200, bound_rounds=20, exact=False)


def _small_crew() -> None:
    """Every order gone through, and the bound by whole rounds, which many technicians have."""
    problem = _crew_problem(3, units=3)
    plan = solve_crew(problem, bound_rounds=0)
    task = RoundsTask(problem, np.arange(3), np.arange(3), plan, per_cent_ms=1.0)
    ColumnGeneration(task).least(StopRule.after(iterations=20))
    travel = np.zeros((1, 1, 2, 2), np.int64)
    numbers = np.arange(2, dtype=np.int64)
    most_dearer(travel, 0, numbers, np.zeros(2, np.bool_), np.zeros((2, 2, 2), np.int64))


def _crew_problem(crew: int, *, units: int) -> CrewProblem:
    points = np.arange(units + 1) * 1000
    travel = np.abs(points[:, None] - points[None, :])
    number = np.arange(units)
    return CrewProblem(
        travel_ms=np.stack([travel] * crew),
        length_mm=travel,
        way_unit=number,
        way_enter=number + 1,
        way_leave=number + 1,
        way_ms=np.full((crew, units), 5000),
        way_loss=np.zeros(units, int),
        way_strokes=np.full((units, 1), 30),
        skip_loss=np.full(units, 100),
        window_ms=np.tile([0, 10**7], (units, 1)),
        start_point=np.zeros(crew, int),
        finish_point=np.zeros(crew, int),
        start_ms=np.zeros(crew, int),
        end_ms=np.full(crew, 10**7),
        store_points=np.zeros(1, int),
        bag_cartridges=np.full(crew, 1),
        cartridge_strokes=np.full((crew, 1), 100),
        way_fixed_ms=np.full((crew, units), 4000),
    )


HERE = (_crew, _walk)  # as long as the others together
BESIDE = (_small_crew, _clusters, _sight, _unit)


def warm_up(progress: Callable[[str], object] = lambda text: None) -> None:
    """Compile every kernel that a round needs and of which no compiled code is kept.

    ``progress`` is told how far it has come.
    """
    total, begun = len(missing_kernels()), time.monotonic()

    def tell(_: str) -> None:
        done = total - len(missing_kernels())
        seconds = time.monotonic() - begun
        progress(f"compiling once: {done} of {total} inner loops, {seconds:.0f} s")

    beside = Aside(lambda: _compiled(BESIDE))
    try:
        with told(tell):
            _compiled(HERE)
            take_over(beside.result())
    finally:
        beside.end()


def _compiled(stages: Sequence[Callable[[], None]]) -> dict[str, bytes]:
    """Run stages; the compiled code that could not be written."""
    for stage in stages:
        stage()
    return unwritten()


if __name__ == "__main__":
    warm_up()
