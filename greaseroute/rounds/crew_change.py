"""A plan that has to change in the middle, and what more time or hands would bring."""

from collections.abc import Collection, Mapping
from dataclasses import dataclass, replace

import numpy as np

from greaseroute.rounds.crew import solve_crew
from greaseroute.rounds.problem import (
    NO_LIMIT_MS,
    CrewProblem,
    CrewSolution,
    IntArray,
    Phase,
    SkippedUnit,
    TechnicianRound,
)

REPLAN_ITERATIONS = 3_000  # the rest of a morning is small, and somebody stands waiting
MORE_MS = 600_000  # ten minutes


@dataclass(frozen=True, slots=True)
class Standing:
    """Where a technician is now: point, time, cartridges in the bag (None: full)."""

    point: int
    now_ms: int
    bag: int | None = None


def replan(
    problem: CrewProblem,
    solution: CrewSolution,
    *,
    done: Collection[int],
    standing: Mapping[int, Standing],
    change_cost_ms: int = 0,
    seed: int = 1,
    iterations: int = REPLAN_ITERATIONS,
    bound_rounds: int = 0,
    limit_s: float | None = None,
) -> CrewSolution:
    """A plan for what is left, from where everyone stands, with no more change than it is worth.

    ``done`` units (served, gone, blocked) drop out; numbers of units and ways stay those of
    ``problem``. Every unit that follows another than before costs ``change_cost_ms`` beside the
    last finish. Give a changed ``problem`` where units moved or windows shifted.
    """
    rest = rest_of(problem, solution, done=done, standing=standing, change_cost_ms=change_cost_ms)
    left = _left(problem, done)
    ways = np.flatnonzero(np.isin(problem.way_unit, left))
    found = solve_crew(
        rest, seed=seed, iterations=iterations, bound_rounds=bound_rounds, limit_s=limit_s
    )
    return replace(
        found,
        rounds=tuple(_renumbered(r, left, ways) for r in found.rounds),
        skipped=tuple(SkippedUnit(int(left[s.unit]), s.loss, s.reason) for s in found.skipped),
    )


def rest_of(
    problem: CrewProblem,
    solution: CrewSolution,
    *,
    done: Collection[int],
    standing: Mapping[int, Standing],
    change_cost_ms: int = 0,
) -> CrewProblem:
    """The problem of what is left: units renumbered in order, starts moved to where people are."""
    left = _left(problem, done)
    number = {int(unit): k for k, unit in enumerate(left)}
    ways = np.flatnonzero(np.isin(problem.way_unit, left))
    points, times = problem.start_point.copy(), problem.start_ms.copy()
    bag = problem.bag_cartridges.copy()
    if problem.bag_at_start is not None:
        bag = problem.bag_at_start.copy()
    for t, here in standing.items():
        points[t], times[t] = here.point, here.now_ms
        bag[t] = problem.bag_cartridges[t] if here.bag is None else here.bag
    keep = tuple(
        tuple(number[u] for u in sequence if u in number) for sequence in solution.sequences()
    )
    return replace(
        _of_units(problem, left, ways),
        start_point=points,
        start_ms=times,
        bag_at_start=bag,
        keep=keep,
        change_cost_ms=change_cost_ms,
    )


def _left(problem: CrewProblem, done: Collection[int]) -> IntArray:
    return np.array([u for u in range(problem.units) if u not in done], dtype=np.int64)


def _of_units(problem: CrewProblem, left: IntArray, ways: IntArray) -> CrewProblem:
    """The problem of some of its units."""
    number = np.full(problem.units, -1, dtype=np.int64)
    number[left] = np.arange(left.size)
    p = problem
    return replace(
        p,
        way_unit=number[p.way_unit[ways]],
        way_enter=p.way_enter[ways],
        way_leave=p.way_leave[ways],
        way_ms=p.way_ms[:, ways],
        way_loss=p.way_loss[ways],
        way_strokes=p.way_strokes[ways],
        skip_loss=p.skip_loss[left],
        window_ms=p.window_ms[left],
        way_window_ms=None if p.way_window_ms is None else p.way_window_ms[ways],
        way_fixed_ms=None if p.way_fixed_ms is None else p.way_fixed_ms[:, ways],
        unit_technician=None if p.unit_technician is None else p.unit_technician[left],
        way_needs_second=None if p.way_needs_second is None else p.way_needs_second[ways],
        operator_ms=None if p.operator_ms is None else p.operator_ms[left],
        keep=None,
    )


def _renumbered(r: TechnicianRound, left: IntArray, ways: IntArray) -> TechnicianRound:
    visits = tuple(
        replace(v, unit=int(left[v.unit]), way=int(ways[v.way])) if v.kind == "unit" else v
        for v in r.visits
    )
    return replace(r, visits=visits)


@dataclass(frozen=True, slots=True)
class More:
    """What a plan with more of something is like: ``what`` there is more of, and what it saves.

    ``saved_loss`` is weight that would no longer be left, ``served`` the units visited that were
    not; ``earlier_ms`` how much sooner the last one is back if the loss stays the same, else 0.
    """

    what: str
    saved_loss: int
    earlier_ms: int
    served: tuple[int, ...]


def what_if_more(
    problem: CrewProblem,
    solution: CrewSolution,
    *,
    more_ms: int = MORE_MS,
    like: int | None = None,
    seed: int = 1,
    iterations: int | None = None,
) -> tuple[More, More]:
    """Solve again with everyone's shift ``more_ms`` longer, and with one more technician.

    The second is a copy of technician ``like`` (whoever visits most units, if not given). The
    plan at hand stays possible in both, so nothing is ever lost by more.
    """
    longer = replace(problem, end_ms=np.minimum(problem.end_ms + more_ms, NO_LIMIT_MS))
    if like is None:
        counts = [len(sequence) for sequence in solution.sequences()]
        like = counts.index(max(counts))
    cases = (
        (f"{more_ms // 60_000} minutes more", longer),
        (f"one more technician like number {like + 1}", _one_more(problem, like)),
    )
    return (
        _compare(solution, *cases[0], seed=seed, iterations=iterations),
        _compare(solution, *cases[1], seed=seed, iterations=iterations),
    )


def _one_more(p: CrewProblem, like: int) -> CrewProblem:
    """The same with technician ``like`` twice; units fixed to ``like`` stay with the first."""
    who = np.append(np.arange(p.technicians), like)
    phases = tuple(Phase(f.from_ms, f.travel_ms[who], f.length_mm) for f in p.phases)
    return replace(
        p,
        travel_ms=p.travel_ms[who],
        way_ms=p.way_ms[who],
        start_point=p.start_point[who],
        finish_point=p.finish_point[who],
        start_ms=p.start_ms[who],
        end_ms=p.end_ms[who],
        bag_cartridges=p.bag_cartridges[who],
        cartridge_strokes=p.cartridge_strokes[who],
        phases=phases,
        gun_left_strokes=None if p.gun_left_strokes is None else p.gun_left_strokes[who],
        bag_at_start=None if p.bag_at_start is None else p.bag_at_start[who],
        way_fixed_ms=None if p.way_fixed_ms is None else p.way_fixed_ms[who],
        keep=None if p.keep is None else (*p.keep, ()),
    )


def _compare(
    solution: CrewSolution, what: str, problem: CrewProblem, *, seed: int, iterations: int | None
) -> More:
    then = solve_crew(problem, seed=seed, iterations=iterations, bound_rounds=0)
    before = {s.unit for s in solution.skipped}
    if (then.lost, then.last_finish_ms) >= (solution.lost, solution.last_finish_ms):
        return More(what, 0, 0, ())
    same = then.lost == solution.lost
    return More(
        what=what,
        saved_loss=solution.lost - then.lost,
        earlier_ms=solution.last_finish_ms - then.last_finish_ms if same else 0,
        served=tuple(sorted(before - {s.unit for s in then.skipped})),
    )
