"""A crew's round: searched, judged by the clock, mended where it is late, and proved."""

from collections.abc import Sequence
from dataclasses import replace

from greaseroute.rounds.clock import STORE, Clock, clocks_of
from greaseroute.rounds.every_order import best_of_all
from greaseroute.rounds.in_order import without_needless_stores
from greaseroute.rounds.mend_late import Mender
from greaseroute.rounds.prepare import Prepared, Progress
from greaseroute.rounds.proof import (
    NOT_SOUGHT,
    BoundAhead,
    Proof,
    is_large,
    relaxed_problem,
    slack_ms,
    told,
)
from greaseroute.rounds.request import Effort
from greaseroute.rounds.rounds import Rounds, Units
from greaseroute.rounds.schedule import schedule_of
from greaseroute.rounds.sharing import shared
from greaseroute.rounds.solved import Solved
from greaseroute.rounds.team import Team, crew_problem
from greaseroute.rounds.why_left import STANDS_DOWN, why_left
from greaseroute.solvers.vrp.problem import CrewProblem
from greaseroute.solvers.vrp.solution import CrewBound, CrewSolution, Status, TechnicianRound, Visit
from greaseroute.solvers.vrp.solve import crew_plans
from greaseroute.units import MS_PER_S, S_PER_MIN
from greaseroute.walk.legs import NEVER

EVERY_ORDER = "last finish; every order gone through by the clock"
FEW_PLANS = 2  # plans of the search, the best by the clock, whose ways are chosen anew


# Long: what the search finds is judged by the clock, and its proof is begun beside what follows.
def solve_together(
    ready: Prepared,
    team: Team,
    *,
    effort: Effort,
    progress: Progress,
    known: Sequence[tuple[int, ...]] = (),
    searched: bool = True,
) -> Solved:
    """A crew, windows, reloads or closing hours: the crew's search, judged by the clock.

    ``known``: halts of each technician that are known already, as good as what is searched; with
    ``searched`` false they are mended and filled up, and nothing else is looked for.
    """
    progress(f"order of {len(team.ways.units)} units for {len(team.members)} technicians")
    weights = weights_of(team)
    problem = crew_problem(team, skip_loss=weights, keep=ready.keep)
    relaxed, ahead = relaxed_problem(problem, team), None
    if effort.prove and searched and is_large(problem):
        ahead = BoundAhead(problem, relaxed, seed=effort.seed, limit_s=effort.limit_s)
    plans = _searched(problem, effort=effort, progress=progress) if searched else []
    units = Units(team, [weights[u] for u in team.ways.units], problem.keep, problem.change_cost_ms)
    found = [*(halts_of(plan) for plan in plans), *([known] if known else [])]
    clocks = clocks_of(team)
    rounds, every = by_the_clock(clocks, units, found)
    free_ms = rounds.last_ms
    clocks, rounds = shared(clocks, units, rounds)
    first = plans[0] if plans else _not_searched(effort)
    plan = _as_solution(first, rounds, clocks, problem=problem)
    complete = plan.status != "interrupted"
    proof = None
    if every or not effort.prove or not complete:
        if ahead is not None:
            ahead.end()
    else:
        proof = Proof(relaxed, plan, team, limit_s=effort.limit_s, ahead=ahead)
    schedules = tuple(schedule_of(c, row) for c, row in zip(clocks, rounds.halts, strict=True))
    lower_ms = free_ms - slack_ms(team) if every else None
    return Solved(
        ready,
        team,
        schedules,
        _why(clocks, units, rounds.halts),
        told(schedules, team.site, lower_ms=lower_ms, what=EVERY_ORDER if every else NOT_SOUGHT),
        complete=complete,
        lost=rounds.lost,
        proof=proof,
    )


def _why(clocks: Sequence[Clock], units: Units, halts: Sequence[Sequence[int]]) -> dict[str, str]:
    """For each unit that is not served as well as it could be the reason."""
    return {
        units.team.ways.units[unit]: why_left(clocks, units, unit, loss=loss, halts=halts)
        for unit, loss in units.left(halts).items()
    }


def by_the_clock(
    clocks: Sequence[Clock], units: Units, plans: Sequence[Sequence[Sequence[int]]]
) -> tuple[Rounds, bool]:
    """The best rounds near some plans, every one in time; whether every order was gone through.

    The search knows the hours of a leg and the places of cartridge changes less well than the
    clock: what is late by it is mended, and what fits by it is put back.
    """
    best, every = _near(clocks, units, plans)
    rows = zip(clocks, best.halts, strict=True)
    needed = [without_needless_stores(clock, row) for clock, row in rows]
    return units.judged(clocks, needed), every


def _near(
    clocks: Sequence[Clock], units: Units, plans: Sequence[Sequence[Sequence[int]]]
) -> tuple[Rounds, bool]:
    mender = Mender(clocks, units)
    judged = sorted((units.judged(clocks, halts) for halts in plans), key=units.worth)
    near = {rounds.halts: rounds for rounds in judged[:FEW_PLANS]}
    best = min((mender.mended(halts) for halts in near), key=units.worth)
    if units.keep is not None and units.change_cost_ms > 0:
        return best, False
    found = best_of_all(clocks, units, best)
    if found is None:
        return best, False
    return min(best, found, key=lambda r: units.worth(r)[:3]), True


def halts_of(plan: CrewSolution) -> list[tuple[int, ...]]:
    """Halts of each technician of a plan of the search."""
    return [
        tuple(v.way if v.kind == "unit" else STORE - v.store for v in r.visits) for r in plan.rounds
    ]


def _as_solution(
    plan: CrewSolution, rounds: Rounds, clocks: Sequence[Clock], *, problem: CrewProblem
) -> CrewSolution:
    """Rounds by the clock in the form that a bound is sought for."""
    found = tuple(
        TechnicianRound(
            technician=clock.number,
            visits=tuple(
                Visit("unit", int(problem.way_unit[h]), h, -1, 0, 0, 0, 0)
                if h >= 0
                else Visit("store", -1, -1, STORE - h, 0, 0, 0, 0)
                for h in row
            ),
            start_ms=clock.member.start_ms, depart_ms=0, finish_ms=clock.run(row),
            walk_ms=0, walk_mm=0, work_ms=0, wait_ms=0,
            reason="" if row or clock.home(clock.start) < NEVER else STANDS_DOWN,
        )
        for clock, row in zip(clocks, rounds.halts, strict=True)
    )  # fmt: skip
    last = rounds.last_ms
    status: Status = "interrupted" if plan.status == "interrupted" else "no bound yet"
    return replace(
        plan, rounds=found, lost=rounds.lost, last_finish_ms=last, changes=0, status=status,
        bound=CrewBound(0, last, None, NOT_SOUGHT),
    )  # fmt: skip


def _not_searched(effort: Effort) -> CrewSolution:
    """A solution of no rounds, where none is sought."""
    return CrewSolution(
        rounds=(), skipped=(), lost=0, last_finish_ms=0, walk_mm=0, spread_ms=0, changes=0,
        bound=CrewBound(0, 0, None, NOT_SOUGHT), status="no bound yet", iterations=0,
        seed=effort.seed,
    )  # fmt: skip


def _searched(problem: CrewProblem, *, effort: Effort, progress: Progress) -> list[CrewSolution]:
    return crew_plans(
        problem,
        seed=effort.seed,
        iterations=effort.iterations,
        limit_s=effort.limit_s,
        progress=lambda done, of, lost, ms: progress(
            f"step {done} of {of}: last finish after {ms / MS_PER_S / S_PER_MIN:.1f} min"
        ),
    )


def weights_of(team: Team) -> dict[str, int]:
    """The weight that is lost at each unit that is not visited."""
    weights: dict[str, int] = {}
    for visit in team.ways.visits:
        unit = visit.work.unit.unit
        weights[unit] = max(weights.get(unit, 0), visit.work.weight)
    return weights
