"""From a prepared round to schedules: the search for one technician or a crew, and its proof."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from greaseroute.plan.round import Bound
from greaseroute.rounds.prepare import Prepared, Progress, with_levels
from greaseroute.rounds.proof import (
    BoundAhead,
    Proof,
    certificate,
    crew_certificate,
    is_large,
    slack_ms,
    spared,
)
from greaseroute.rounds.request import Effort
from greaseroute.rounds.savings import savings
from greaseroute.rounds.schedule import (
    Halt,
    Route,
    Schedule,
    clock_of,
    keeps_windows,
    route_dependent_ms,
    timed,
    unit_halt,
)
from greaseroute.rounds.team import (
    Member,
    SiteWays,
    Team,
    bag,
    capacity,
    cluster_cost,
    crew_problem,
    site_ways,
    strokes_of,
)
from greaseroute.site.morning import second_person_span, start_of, unit_window
from greaseroute.solvers.arrays import FAR
from greaseroute.solvers.gtsp.solve import solve_clusters
from greaseroute.solvers.vrp.problem import CrewProblem
from greaseroute.solvers.vrp.solution import CrewSolution, TechnicianRound
from greaseroute.solvers.vrp.solve import crew_plans
from greaseroute.units import MS_PER_S, S_PER_MIN
from greaseroute.visits.visit import UnitVisit
from greaseroute.visits.work import Outfit, outfit_of

NOTHING_TO_PROVE = "no unit is visited: the walk from start to finish is the shortest there is"


SEARCH_PASSES = 500  # per unit, where neither a count nor a time limit is given


NO_LIMIT_S = 1e9


@dataclass(frozen=True, slots=True, eq=False)
class Solved:
    """Schedules in the order of the technicians; why units are not visited; the certificate.

    ``lost`` is the weight of what time did not allow, ``notes`` what would help. Where ``proof`` is
    given the bound is under way and still to be had from it; until then ``bound`` says that there
    is none. It has to be ended where it is not wanted.
    """

    ready: Prepared
    team: Team
    schedules: tuple[Schedule, ...]
    skipped: Mapping[str, str]
    bound: Bound
    complete: bool
    lost: int = 0
    notes: tuple[str, ...] = ()
    proof: Proof | None = None


def build_team(ready: Prepared) -> Team:
    """Ways, walking times and windows of a prepared round."""
    crew, site = ready.technicians, ready.site
    visits: list[tuple[Outfit, UnitVisit]] = [
        (outlook.outfit, visit)
        for outlook in ready.outlooks
        for unit, full in outlook.visits.items()
        for visit in (full, *outlook.lesser[unit])
    ]
    ways = site_ways([visit for _, visit in visits], ready.outlooks[0].row)
    walks = {outlook.outfit: outlook.walks for outlook in ready.outlooks}
    stores = sum(p.kind == "store" for p in site.ground.places)
    return Team(
        site=site,
        members=tuple(
            Member(
                technician=t,
                start=2 * k,
                finish=2 * k + 1,
                start_ms=start_of(t, ready.morning),
                end_ms=max(ready.morning.end_ms, start_of(t, ready.morning)),
                spans=walks[outfit_of(t, site)].spans,
            )
            for k, t in enumerate(crew)
        ),
        ways=ways,
        outfit_of_visit=tuple(outfit for outfit, _ in visits),
        windows=_windows(ready, ways),
        second_ms=second_person_span(site.rules, ready.morning),
        length_mm=ready.outlooks[0].walks.mm,
        stores=tuple(range(2 * len(crew), 2 * len(crew) + stores)),
    )


def _windows(ready: Prepared, ways: SiteWays) -> dict[str, tuple[int, int]]:
    """When each unit may be worked on: while it stands and its own ground is open."""
    units = {unit.unit: unit for unit in ready.site.units}
    windows = {}
    for name in ways.units:
        feet = [n.foot_m for v in ways.visits if v.work.unit.unit == name for n in v.nodes]
        window = unit_window(units[name], ready.morning)
        windows[name] = open_part(window, ready.yard.is_free(feet), ready.yard.begins)
    return windows


def open_part(
    window: tuple[int, int], is_open: Sequence[bool], begins: Sequence[int]
) -> tuple[int, int]:
    """The longest part of a window through which the ground stays open."""
    best, begin = (window[0], window[0]), window[0]
    for k, free in enumerate(is_open):
        end = begins[k + 1] if k + 1 < len(begins) else window[1]
        if not free:
            begin = max(window[0], end)
        elif min(end, window[1]) - begin > best[1] - best[0]:
            best = (begin, min(end, window[1]))
    return best


def solve(ready: Prepared, *, effort: Effort, progress: Progress) -> Solved:
    """The best schedules found and what is proved about them.

    Where time is too short for a unit, the search is made again with visits that serve only the
    weightier joints of a unit, and the better of the two is taken.
    """
    team = build_team(ready)
    if not team.ways.ways:
        return _nothing_to_do(ready, team)
    alone = len(team.members) == 1 and len(team.members[0].spans) == 1 and ready.keep is None
    if alone and work_alone_fits(team):
        progress(f"order of {len(team.ways.units)} units")
        tour = solve_alone(ready, team, effort=effort, progress=progress)
        if tour is not None:
            return _less_waiting(tour, effort=effort, progress=progress)
    found = solve_together(ready, team, effort=effort, progress=progress)
    if found.lost == 0 or not found.skipped or not found.complete:
        return found
    try:
        return _with_less_service(found, team, effort=effort, progress=progress)
    except KeyboardInterrupt:
        return replace(found, complete=False, proof=None)


def _less_waiting(alone: Solved, *, effort: Effort, progress: Progress) -> Solved:
    """The shortest tour, or where it waits at units one that ends sooner by waiting less.

    The bound of the tour holds for both: it takes no window into account.
    """
    (tour,) = alone.schedules
    if not alone.complete or all(h.begin_ms == h.arrive_ms for h in tour.halts):
        return alone
    quick = replace(effort, prove=False)
    found = solve_together(alone.ready, alone.team, effort=quick, progress=progress)
    if found.skipped or found.schedules[0].finish_ms >= tour.finish_ms:
        return alone
    value = route_dependent_ms(found.schedules[0], alone.team.site)
    what = f"{alone.bound.what}; waits relaxed"
    bound = certificate(round(alone.bound.lower_s * MS_PER_S), value, what=what)
    return replace(found, bound=bound)


def _with_less_service(found: Solved, team: Team, *, effort: Effort, progress: Progress) -> Solved:
    """The better of what was found and a search with visits that serve less at a unit."""
    progress("time is short: the weightiest joints of each unit")
    if found.proof is not None:
        found.proof.end()
    fewer = with_levels(found.ready)
    again = solve_together(fewer, build_team(fewer), effort=effort, progress=progress)
    best = again if again.lost < found.lost else found
    if again.proof is not None and best is found:
        again.proof.end()
    progress("what more time or one more technician would save")
    notes = savings(again.team, lost=best.lost, skip_loss=_weights(team), seed=effort.seed)
    return replace(best, notes=notes)


def _nothing_to_do(ready: Prepared, team: Team) -> Solved:
    schedules = tuple(
        timed(_route(k, m, ()), clock_of(team, k)) for k, m in enumerate(team.members)
    )
    walk_s = sum(s.finish_ms - s.route.start_ms for s in schedules) / MS_PER_S
    bound = Bound(lower_s=walk_s, value_s=walk_s, gap_pct=0.0, what=NOTHING_TO_PROVE)
    return Solved(ready, team, schedules, {}, bound, complete=True)


def work_alone_fits(team: Team) -> bool:
    """Whether one technician's work, without a step walked, ends in time and lasts the bag.

    Where it does not, no tour of all units keeps the end and the bag, and none is searched for.
    """
    member, ways, guns = team.members[0], team.ways, team.site.guns
    least_ms = np.full(len(ways.units), FAR, dtype=np.int64)
    np.minimum.at(least_ms, ways.way_unit, ways.total_ms)
    if member.start_ms + int(least_ms.sum()) > member.end_ms:
        return False
    strokes = np.full((len(ways.units), len(guns)), FAR, dtype=np.int64)
    names, unit = [gun.name for gun in guns], np.array(ways.unit_of)
    np.minimum.at(strokes, unit, [strokes_of(visit, names) for visit in ways.visits])
    taken = zip(guns, strokes.sum(axis=0).tolist(), strict=True)
    cartridges = sum(-(-max(0, n - g.left_strokes) // capacity(g, team.site)) for g, n in taken)
    return bool(cartridges <= bag(member.technician, team.site))


def solve_alone(
    ready: Prepared, team: Team, *, effort: Effort, progress: Progress
) -> Solved | None:
    """One technician, no window that binds: the shortest tour; None where something binds."""
    member, ways = team.members[0], team.ways
    cost, groups = cluster_cost(ways, member.spans[0][1], start=member.start, finish=member.finish)
    passes = effort.iterations
    if passes is None and effort.limit_s is None:
        passes = SEARCH_PASSES * len(groups)
    tour = solve_clusters(
        cost,
        groups,
        limit_s=NO_LIMIT_S if effort.limit_s is None else effort.limit_s,
        seed=effort.seed,
        iterations=passes,
        on_progress=lambda best, low: progress(
            f"{best / MS_PER_S:.0f} s, proved {low / MS_PER_S:.0f} s"
        ),
    )
    first = tour.order.index(len(ways.ways))
    order = tour.order[first + 1 :] + tour.order[:first]
    schedule = timed(_route(0, member, [unit_halt(team, way) for way in order]), clock_of(team, 0))
    if not fits(schedule, team):
        return None
    value = route_dependent_ms(schedule, team.site)
    bound = certificate(
        tour.lower_bound - slack_ms(team),
        value,
        what=f"shortest tour over all ways in and out: {tour.what}",
    )
    return Solved(ready, team, (schedule,), {}, bound, complete=tour.status != "interrupted")


def _route(number: int, member: Member, halts: Sequence[Halt]) -> Route:
    """A route; who visits nothing and cannot get to the finish stays at the start."""
    stuck = not halts and all(ms[member.start, member.finish] < 0 for _, ms in member.spans)
    finish = member.start if stuck else member.finish
    return Route(number, member.start, finish, member.start_ms, tuple(halts))


def fits(schedule: Schedule, team: Team) -> bool:
    """Whether a schedule without reloads keeps every window, the end and the bag."""
    used = sum(n for row in schedule.carried.put_in for n in row)
    member = team.members[schedule.route.technician]
    return _in_time(schedule, team) and used <= bag(member.technician, team.site)


def _in_time(schedule: Schedule, team: Team) -> bool:
    end_ms = team.members[schedule.route.technician].end_ms
    return schedule.finish_ms <= end_ms and keeps_windows(schedule, team)


def solve_together(ready: Prepared, team: Team, *, effort: Effort, progress: Progress) -> Solved:
    """A crew, windows, reloads or closing hours: the crew's search."""
    progress(f"order of {len(team.ways.units)} units for {len(team.members)} technicians")
    problem = crew_problem(team, skip_loss=_weights(team), keep=ready.keep)
    ahead = None
    if effort.prove and is_large(problem):
        relaxed = replace(problem, way_ms=spared(problem, team))
        ahead = BoundAhead(relaxed, seed=effort.seed, limit_s=effort.limit_s)
    plans = _searched(problem, effort=effort, progress=progress)
    solution, schedules = _best_by_the_clock(plans, problem, team)
    proof = None
    if effort.prove and solution.status == "no bound yet":
        proof = Proof(problem, solution, team, limit_s=effort.limit_s, ahead=ahead)
    elif ahead is not None:
        ahead.end()
    return Solved(
        ready,
        team,
        schedules,
        {team.ways.units[s.unit]: s.reason for s in solution.skipped},
        crew_certificate(problem, solution, team),
        complete=solution.status != "interrupted",
        lost=solution.lost,
        proof=proof,
    )


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


def _best_by_the_clock(
    plans: Sequence[CrewSolution], problem: CrewProblem, team: Team
) -> tuple[CrewSolution, tuple[Schedule, ...]]:
    """The best plan with every cartridge change at its hour, and its schedules.

    The search spreads the changes over the strokes. Where each falls moves a finish by a minute, or
    by a wait for a crossing that is just missed.
    """
    timed_plans = [(plan, tuple(_timed_round(team, r) for r in plan.rounds)) for plan in plans]

    def worth(timed_plan: tuple[CrewSolution, tuple[Schedule, ...]]) -> tuple[int, bool, int, int]:
        plan, schedules = timed_plan
        late = not all(_in_time(schedule, team) for schedule in schedules)
        last_ms = max((s.finish_ms for s in schedules), default=0)
        return plan.lost, late, last_ms + problem.change_cost_ms * plan.changes, plan.walk_mm

    return min(timed_plans, key=worth)


def _weights(team: Team) -> dict[str, int]:
    weights: dict[str, int] = {}
    for visit in team.ways.visits:
        unit = visit.work.unit.unit
        weights[unit] = max(weights.get(unit, 0), visit.work.weight)
    return weights


def _timed_round(team: Team, found: TechnicianRound) -> Schedule:
    halts = [
        unit_halt(team, v.way) if v.kind == "unit" else Halt(-1, point=team.stores[v.store])
        for v in found.visits
    ]
    member = team.members[found.technician]
    return timed(_route(found.technician, member, halts), clock_of(team, found.technician))
