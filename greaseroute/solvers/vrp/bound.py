"""A proved lower bound on the last finish: the crew's time for the same visits, shared out.

For two technicians every assignment of the units is judged by what the routes take at least
(``benders``). For larger crews with few units a round, whole rounds: can those that end by an aim
cover the units (``columns``)? Else, or where that proves nothing, cutting planes: whoever visits
what, the last one finishes no earlier than any weighted mean of the times that the technicians
take, and those together visit every unit at the service level of the plan, and the stores as often
as their bags ask for. Waits are left out of that relaxation but for single legs that no window lets
anyone walk; one unit's own window gives a further bound.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from greaseroute.solvers.arrays import FAR, IntArray
from greaseroute.solvers.stop import StopRule
from greaseroute.solvers.vrp.bag import may_run_out
from greaseroute.solvers.vrp.benders.loop import FIRST_GAP, BendersLoop, BoundTask, few_enough
from greaseroute.solvers.vrp.changes import changes_take_time, with_shares
from greaseroute.solvers.vrp.columns.loop import ColumnGeneration, RoundsTask, rounds_are_short
from greaseroute.solvers.vrp.cutting_planes.giant_tour import first_potentials, types_in_tour
from greaseroute.solvers.vrp.cutting_planes.loop import CuttingPlanes, JudgedPlan
from greaseroute.solvers.vrp.entry_exit_points import (
    least_walk,
    points_of,
    soonest,
    technician_types,
)
from greaseroute.solvers.vrp.layout import usable_way_ms, way_windows
from greaseroute.solvers.vrp.problem import CrewProblem
from greaseroute.solvers.vrp.solution import CrewBound, CrewSolution

BY_CUTTING_PLANES = (
    "last finish, for the same visits: no way of sharing them out ends sooner, by a linear program "
    "over who walks from which unit to which, with sub-tour and load cuts, store visits and "
    "branching; waits relaxed"
)
BY_ASSIGNMENT = (
    "last finish, for the same visits: no way of sharing the units out ends sooner, by what each "
    "technician's round takes at least for any units (linear programs with sub-tour cuts and store "
    "visits) and an exact search over the shares; waits relaxed"
)
BY_ROUNDS = (
    "last finish, for the same visits: whole rounds that end sooner do not cover the units, though "
    "each may be taken in part, come back to a unit after others, and walk as at the quickest "
    "hour; {bags}"
)
BAGS_LEFT_OUT, BAGS_IN_PARTS = "bags left out", "cartridges counted in parts"
BY_ONE_UNIT = "last finish, for the same visits: one unit's window and the walk home from it"

CHANGES_SHARED = "; cartridge changes count as a share of a cartridge for each stroke"
CHANGES_WHOLE = "; the fewest whole cartridge changes, as if none left strokes unused"
SHARE_FOR_ROUNDS = 0.7  # of the time, where there is a limit: the rest is for cutting planes


def bound_of(
    problem: CrewProblem, solution: CrewSolution, *, rounds: int, limit_s: float | None = None
) -> CrewBound:
    """Prove the better of two bounds on the last finish of a plan.

    Parameters
    ----------
    problem : CrewProblem
    solution : CrewSolution
        The plan that is judged.
    rounds : int
        Linear programs solved at most: same input, same bound.
    limit_s : float, optional
        Wall seconds, at most.

    Returns
    -------
    CrewBound
        Its gap is over the route-dependent part: the crew's time up to the last finish (all
        technicians together) less the fixed time of the visits of this plan, which no route
        changes.
    """
    # Who cannot reach the finish takes no part; units left out are left out of the bound.
    takes_part = [r.technician for r in solution.rounds if not r.reason]
    value = solution.last_finish_ms + problem.change_cost_ms * solution.changes
    visited = sorted(v.way for r in solution.rounds for v in r.visits if v.kind == "unit")
    if not takes_part:
        return CrewBound(0, value, None, "nobody takes part")
    if not visited:
        return CrewBound(value, value, 0.0, "no unit is visited: every walk is the shortest")
    # Bounds of two kinds, and the better of them.
    crew = _Crew(problem, np.array(takes_part), _ways_like(problem, visited), solution)
    shared, how = crew.shared_out(StopRule.after(rounds, limit_s=limit_s))
    alone = crew.least_single()
    what = how if shared >= alone else BY_ONE_UNIT
    return judged_by(problem, solution, lower_ms=max(shared, alone), what=what)


def judged_by(
    problem: CrewProblem, solution: CrewSolution, *, lower_ms: int, what: str
) -> CrewBound:
    """A plan beside a bound on the last finish that holds for its visits."""
    value = solution.last_finish_ms + problem.change_cost_ms * solution.changes
    # All technicians could be home by the bound: each of them saves the difference at most.
    crew, part = route_part_ms(problem, solution, last_ms=value)
    lower = min(value, lower_ms)
    gap = 100.0 * crew * (value - lower) / max(1, part)
    return CrewBound(lower, value, gap, what)


def route_part_ms(problem: CrewProblem, solution: CrewSolution, *, last_ms: int) -> tuple[int, int]:
    """How many take part, and their time up to ``last_ms`` less the fixed time of the visits."""
    crew = [r.technician for r in solution.rounds if not r.reason]
    visits = [(r.technician, v) for r in solution.rounds for v in r.visits if v.kind == "unit"]
    fixed = problem.way_fixed_ms
    spent = 0 if fixed is None else sum(int(fixed[t, v.way]) for t, v in visits)
    return len(crew), len(crew) * last_ms - int(problem.start_ms[crew].sum()) - spent


def _ways_like(problem: CrewProblem, visited: list[int]) -> IntArray:
    """All ways of the units visited that leave no more undone than the plan does there."""
    # The service level of each unit in the plan; ways that leave more undone do not count.
    loss = np.full(problem.units, -1, dtype=np.int64)
    loss[problem.way_unit[visited]] = problem.way_loss[visited]
    ways = np.flatnonzero(problem.way_loss <= loss[problem.way_unit])
    ways = ways[(usable_way_ms(problem)[:, ways] >= 0).any(axis=0)]
    return ways[np.argsort(problem.way_unit[ways], kind="stable")]


@dataclass(frozen=True, slots=True, eq=False)
class _Crew:
    """One plan to be judged: the technicians who take part, the ways of the units visited."""

    problem: CrewProblem
    who: IntArray
    ways: IntArray
    solution: CrewSolution

    def least_single(self) -> int:
        """The last finish is not before that of the unit whose own visit ends latest."""
        ends = self._leaving() + self._home().min(axis=0)
        first = np.flatnonzero(np.diff(self.problem.way_unit[self.ways], prepend=-1))
        by_unit = np.minimum.reduceat(ends, first)
        idle = [int(self.problem.start_ms[t]) for t in self.who]
        return max(int(by_unit.max()), *idle)

    def _leaving(self) -> IntArray:
        """Earliest anyone can leave each way if it comes first."""
        p, window = self.problem, way_windows(self.problem)[self.ways]
        found = np.full(self.ways.size, FAR, dtype=np.int64)
        for t in self.who:
            # As if every way came first for everyone: the quickest there, after its window opens.
            spent = usable_way_ms(p)[t, self.ways]
            there = soonest(least_walk(p, int(t)), int(p.start_point[t]))
            arrive = p.start_ms[t] + there[p.way_enter[self.ways]]
            leave = np.maximum(arrive, window[:, 0]) + spent
            found = np.where(spent < 0, found, np.minimum(found, leave))
        return found

    def _home(self) -> IntArray:
        """(who, ways): walking time to the finish."""
        # Walking times may differ by direction: from the finish backwards.
        p = self.problem
        return np.stack(
            [
                soonest(least_walk(p, int(t)).T, int(p.finish_point[t]))[p.way_leave[self.ways]]
                for t in self.who
            ]
        )

    def time_ms(self) -> dict[int, int]:
        """The time each technician has in a plan that ends before the one at hand."""
        p = self.problem
        last = np.minimum(p.end_ms[self.who], self.solution.last_finish_ms - 1)
        time = np.maximum(0, last - p.start_ms[self.who])
        return dict(zip(self.who.tolist(), time.tolist(), strict=True))

    def orders(self) -> list[list[int]]:
        """Units and stores (after the units) in the order of each technician's round."""
        units = self.problem.units
        return [
            [v.unit if v.kind == "unit" else units + v.store for v in r.visits]
            for r in self.solution.rounds
        ]

    def shared_out(self, stop: StopRule) -> tuple[int, str]:
        """No plan has a last finish below this or the one at hand; how that is known."""
        problem, spare_ms = with_shares(self.problem, self.who, self.ways)
        later = self.solution.last_finish_ms + spare_ms
        by_shares = replace(
            self, problem=problem, solution=replace(self.solution, last_finish_ms=later)
        )
        changes = changes_take_time(self.problem)
        low, how = by_shares.by_rounds(stop)
        if low:
            return low - spare_ms, how + CHANGES_SHARED * changes
        low = self._by_assignment(stop.over)
        if low >= self._task().aim_ms(FIRST_GAP):
            return low, BY_ASSIGNMENT + CHANGES_WHOLE * changes
        # where that proved little: one program over the rounds of all
        other = by_shares.by_one_program(stop.over) - spare_ms
        if low >= other:
            return low, BY_ASSIGNMENT + CHANGES_WHOLE * changes
        return other, BY_CUTTING_PLANES + CHANGES_SHARED * changes

    def by_rounds(self, stop: StopRule) -> tuple[int, str]:
        """The bound by whole rounds; 0 where it proves nothing, or rounds are long."""
        upper = self.solution.last_finish_ms
        crew, part = route_part_ms(self.problem, self.solution, last_ms=upper)
        task = RoundsTask(self.problem, self.who, self.ways, self.solution, part / crew / 100.0)
        if not rounds_are_short(task):
            return 0, ""
        bags = BAGS_IN_PARTS if task.with_stores else BAGS_LEFT_OUT
        # something is left for cutting planes, should rounds prove nothing
        own = replace(stop, end_s=stop.end_after(SHARE_FOR_ROUNDS))
        return ColumnGeneration(task).least(own), BY_ROUNDS.format(bags=bags)

    @property
    def _stores(self) -> bool:
        """Whether a bag may run out: stores make the programs larger."""
        return may_run_out(self.problem, self.who, self.ways)

    def _by_assignment(self, over: Callable[[int], bool]) -> int:
        """The bound over assignments; 0 where they are too many."""
        task = self._task()
        return BendersLoop(task).least(over) if few_enough(task) else 0

    def by_one_program(self, over: Callable[[int], bool]) -> int:
        """The bound by cutting planes over one program for the rounds of all."""
        stores = self._stores
        found = technician_types(self.problem, self.who, self.ways)
        points = [points_of(self.problem, crew, self.ways, stores=stores) for crew in found]
        orders = self.orders()
        types = [first_potentials(one, orders) for one in types_in_tour(points)]
        judged = JudgedPlan(self.problem, self.time_ms(), orders, self.solution.last_finish_ms)
        return CuttingPlanes(judged, types, stores=stores).least(over)

    def _task(self) -> BoundTask:
        """What the plan at hand is judged by where assignments can be gone through."""
        # Who visits what in the plan at hand.
        assignment = np.full(self.problem.units, -1, dtype=np.int64)
        for r in self.solution.rounds:
            place = np.flatnonzero(self.who == r.technician)
            for v in r.visits:
                if v.kind == "unit":
                    assignment[v.unit] = place[0]
        upper = self.solution.last_finish_ms
        crew, part = route_part_ms(self.problem, self.solution, last_ms=upper)
        return BoundTask(
            problem=self.problem,
            who=self.who,
            ways=self.ways,
            stores=self._stores,
            assignment=assignment,
            upper_ms=upper,
            per_cent_ms=part / crew / 100.0,
        )
