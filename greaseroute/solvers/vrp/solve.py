"""The crew's round: who visits which unit when, by which way; exact where small, searched else."""

from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace

from greaseroute.solvers.vrp.bound import bound_of
from greaseroute.solvers.vrp.exact import small_enough, solve_exactly
from greaseroute.solvers.vrp.layout import SKIP_LOSS, START_MS, UNIT, Layout, layout_of
from greaseroute.solvers.vrp.problem import CrewProblem
from greaseroute.solvers.vrp.search import (
    Orders,
    Progress,
    is_timed,
    levels_of,
    search_orders,
)
from greaseroute.solvers.vrp.solution import (
    CrewBound,
    CrewSolution,
    SkippedUnit,
    Status,
    TechnicianRound,
)
from greaseroute.solvers.vrp.thinning import with_few_ways
from greaseroute.solvers.vrp.timetable import OrderLabels, reachable, timetable
from greaseroute.solvers.vrp.why_skipped import why_skipped

BOUND_ROUNDS = 100  # linear programs solved; about as long as the search, for most of the gap
FEW_ROUNDS = 30  # on sites of hundreds of units, where each takes about half a second
ROUNDS_TIMES_UNITS = 12_000
ITERATIONS = 20_000
ITERATIONS_PER_UNIT = 1_000
ITERATIONS_PER_UNIT_BY_THE_HOUR = 400  # each step takes up to five times as long there


def solve_crew(
    problem: CrewProblem,
    *,
    seed: int = 1,
    iterations: int | None = None,
    limit_s: float | None = None,
    workers: int = 1,
    progress: Progress | None = None,
    bound_rounds: int | None = None,
    bound_s: float | None = None,
    exact: bool = True,
) -> CrewSolution:
    """Least weight lost, then the last finish earliest, then least metres, then fair shares.

    The best of ``crew_plans``, and what is proved about it: a lower bound is sought by
    ``bound_rounds`` linear programs (0: none; not given: ``rounds_for``), fewer after ``bound_s``
    seconds (``limit_s`` if not given).

    Raises
    ------
    UnfitProblem
        From the problem itself, when it is made.
    """
    solution = crew_plans(
        problem,
        seed=seed,
        iterations=iterations,
        limit_s=limit_s,
        workers=workers,
        progress=progress,
        exact=exact,
    )[0]
    rounds = rounds_for(problem) if bound_rounds is None else bound_rounds
    if rounds == 0 or solution.status != "no bound yet":
        return solution
    within = limit_s if bound_s is None else bound_s
    return with_bound(problem, solution, rounds=rounds, limit_s=within)


def crew_plans(
    problem: CrewProblem,
    *,
    seed: int = 1,
    iterations: int | None = None,
    limit_s: float | None = None,
    workers: int = 1,
    progress: Progress | None = None,
    exact: bool = True,
) -> list[CrewSolution]:
    """The plans that the search has come to, the best first: one for each start it was begun from.

    Up to about eight units every order is gone through (``exact``) and there is one plan, else
    ``iterations`` steps of search are made (if not given, as ``steps_for`` tells): same problem,
    seed and number of steps, same answer. ``limit_s`` or Ctrl-C ends the search with the best plans
    so far, marked "interrupted". With ``workers`` above one as many searches run with the seeds
    that follow.
    """
    layout = layout_of(problem)
    if exact and small_enough(problem, layout):
        plan = solve_exactly(layout)
        return [_solution(problem, layout, plan.chains, seed=seed, steps=0, status="optimal")]
    found = _searched(
        problem,
        with_few_ways(layout),
        seed=seed,
        steps=steps_for(problem) if iterations is None else iterations,
        limit_s=limit_s,
        workers=workers,
        progress=progress,
    )
    if problem.keep is not None:  # as it is, over all ways: the search has seen a few of them
        found.append(replace(found[0], levels=levels_of(layout, problem.keep)))
    return sorted((_timed(problem, layout, orders, seed=seed) for orders in found), key=_worth)


def _timed(problem: CrewProblem, layout: Layout, orders: Orders, *, seed: int) -> CrewSolution:
    """Orders as a plan, with store visits placed exactly."""
    status: Status = "interrupted" if orders.interrupted else "no bound yet"
    chains = _chains(layout, orders)
    return _solution(problem, layout, chains, seed=seed, steps=orders.steps, status=status)


def _worth(plan: CrewSolution) -> tuple[int, int, int, int]:
    """What is made least, one after the other."""
    return plan.lost, plan.bound.value_ms, plan.walk_mm, plan.spread_ms


def steps_for(problem: CrewProblem) -> int:
    """Steps after which a longer search rarely finds more than half a per cent."""
    each = ITERATIONS_PER_UNIT_BY_THE_HOUR if is_timed(problem) else ITERATIONS_PER_UNIT
    return max(ITERATIONS, each * problem.units)


def rounds_for(problem: CrewProblem) -> int:
    """Linear programs that a bound is sought by: fewer where each takes long."""
    return min(BOUND_ROUNDS, max(FEW_ROUNDS, ROUNDS_TIMES_UNITS // max(1, problem.units)))


def with_bound(
    problem: CrewProblem, solution: CrewSolution, *, rounds: int, limit_s: float | None = None
) -> CrewSolution:
    """The same plan with a proved lower bound, sought in so many rounds or seconds at most."""
    try:
        bound = bound_of(problem, solution, rounds=rounds, limit_s=limit_s)
    except KeyboardInterrupt:
        return replace(solution, status="interrupted")
    return beside(solution, bound)


def beside(solution: CrewSolution, bound: CrewBound) -> CrewSolution:
    """The same plan with a bound that is known, and the status that follows from it."""
    status = solution.status
    if status == "no bound yet" and bound.gap_pct is not None:
        status = "optimal" if bound.lower_ms == bound.value_ms else "bounded"
    return replace(solution, bound=bound, status=status)


def _searched(
    problem: CrewProblem,
    layout: Layout,
    *,
    seed: int,
    steps: int,
    limit_s: float | None,
    workers: int,
    progress: Progress | None,
) -> list[Orders]:
    """The best orders of every start of every worker."""

    def run(k: int) -> list[Orders]:
        return search_orders(
            problem,
            layout,
            seed=seed + k,
            steps=steps,
            limit_s=limit_s,
            progress=progress if k == 0 else None,
        )

    if workers == 1:
        return run(0)
    with ThreadPoolExecutor(workers) as pool:
        return [orders for found in pool.map(run, range(workers)) for orders in found]


def _chains(layout: Layout, orders: Orders) -> tuple[tuple[int, ...], ...]:
    """Ways of every technician: the shortest within the last finish, stores placed exactly."""
    found = {
        t: _feasible(layout, t, row) for t, row in enumerate(orders.levels) if reachable(layout, t)
    }
    cap_ms = max((labels.earliest_ms for labels in found.values()), default=0)
    return tuple(found[t].shortest(cap_ms) if t in found else () for t in range(len(orders.levels)))


def _feasible(layout: Layout, t: int, levels: tuple[int, ...]) -> OrderLabels:
    """The labels of an order, of as much of it as can be done.

    The search counts cartridges as if all ways of a unit pumped in the same order. Where a change
    that falls one fitting earlier breaks a window, units go until it fits, least weight first.
    """
    labels = OrderLabels(layout, t, levels)
    while not labels.can_be_walked:
        unit = layout.inst.level[list(levels), UNIT]
        least = int(layout.inst.unit[unit, SKIP_LOSS].argmin())
        levels = levels[:least] + levels[least + 1 :]
        labels = OrderLabels(layout, t, levels)
    return labels


# Long: one record filled field by field.
def _solution(
    problem: CrewProblem,
    layout: Layout,
    chains: tuple[tuple[int, ...], ...],
    *,
    seed: int,
    steps: int,
    status: Status,
) -> CrewSolution:
    rounds = tuple(
        timetable(layout, t, chain) if chain and reachable(layout, t) else _stands_down(layout, t)
        for t, chain in enumerate(chains)
    )
    taking_part = [r for r in rounds if not r.reason]
    last = max((r.finish_ms for r in taking_part), default=0)
    served = {v.unit: v.way for r in rounds for v in r.visits if v.kind == "unit"}
    left = [u for u in range(problem.units) if u not in served]
    lost = sum(int(problem.skip_loss[u]) for u in left)
    lost += sum(int(problem.way_loss[way]) for way in served.values())
    spans = [r.finish_ms - r.start_ms for r in taking_part] or [0]
    changes = _changes(problem, rounds)
    value = last + problem.change_cost_ms * changes
    proved = status == "optimal"
    return CrewSolution(
        rounds=rounds,
        skipped=tuple(
            SkippedUnit(u, int(problem.skip_loss[u]), why_skipped(layout, u)) for u in left
        ),
        lost=lost,
        last_finish_ms=last,
        walk_mm=sum(r.walk_mm for r in rounds),
        spread_ms=max(spans) - min(spans),
        changes=changes,
        bound=CrewBound(
            lower_ms=value if proved else 0,
            value_ms=value,
            gap_pct=0.0 if proved else None,
            what="last finish; every order gone through" if proved else "no bound sought",
        ),
        status=status,
        iterations=steps,
        seed=seed,
    )


def _stands_down(layout: Layout, t: int) -> TechnicianRound:
    start = int(layout.inst.crew[t, START_MS])
    return TechnicianRound(
        t, (), start, start, start, 0, 0, 0, 0, reason="no way to the finish before the shift ends"
    )


def _changes(problem: CrewProblem, rounds: tuple[TechnicianRound, ...]) -> int:
    """Units that follow another than in the plan before, or come first where they did not."""
    if problem.keep is None:
        return 0
    before = {
        unit: previous
        for t, row in enumerate(problem.keep)
        for previous, unit in zip((-1 - t, *row), row, strict=False)
    }
    now = {
        unit: previous
        for t, r in enumerate(rounds)
        for previous, unit in _pairs(t, [v.unit for v in r.visits if v.kind == "unit"])
    }
    return sum(before.get(unit) != previous for unit, previous in now.items())


def _pairs(t: int, units: list[int]) -> list[tuple[int, int]]:
    return list(zip([-1 - t, *units], units, strict=False))
