"""What is proved about schedules: the bound as it is written down, and what is yet to be proved."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from greaseroute.plan.round import Bound
from greaseroute.processes import Aside
from greaseroute.rounds.schedule import Schedule, route_dependent_ms
from greaseroute.rounds.team import Team, strokes_of, whole_cartridges
from greaseroute.site.model import Site
from greaseroute.solvers.vrp.bound import judged_by
from greaseroute.solvers.vrp.problem import NO_LIMIT_MS, CrewProblem
from greaseroute.solvers.vrp.solution import CrewSolution
from greaseroute.solvers.vrp.solve import beside, rounds_for, solve_crew, with_bound
from greaseroute.units import MS_PER_S, ms

LARGE = 100  # units from which on the search has a core to spare, and takes long


FIRST_STEPS_PER_UNIT = 30


ROUNDS = 100  # linear programs; some 45 s at 400 units, about what the search takes


def is_large(problem: CrewProblem) -> bool:
    """Whether it pays to seek the bound beside the search, told by a first plan."""
    return problem.units > LARGE


class BoundAhead:
    """A bound under way, for the visits of a first plan: on the relaxed problem."""

    def __init__(
        self,
        problem: CrewProblem,
        relaxed: CrewProblem,
        *,
        seed: int,
        limit_s: float | None,
    ) -> None:
        self._problem, self._relaxed = problem, relaxed

        def first_judged() -> CrewSolution:
            steps = FIRST_STEPS_PER_UNIT * problem.units
            first = solve_crew(problem, seed=seed, iterations=steps, bound_rounds=0, exact=False)
            return with_bound(relaxed, replace(first, changes=0), rounds=ROUNDS, limit_s=limit_s)

        self._aside = Aside(first_judged)

    def judged(self, plan: CrewSolution) -> CrewSolution:
        """The plan with the bound, waited for; as it is where that is for other visits."""
        first = self._aside.result()
        if first.bound.gap_pct is None or not self._same_visits(first, plan):
            return plan
        known = first.bound
        bound = judged_by(self._relaxed, plan, lower_ms=known.lower_ms, what=known.what)
        return beside(plan, bound)

    def _same_visits(self, first: CrewSolution, plan: CrewSolution) -> bool:
        """Whether both visit the same units at the same loss, by the same technicians."""
        done, who = [], []
        for one in (first, plan):
            ways = [v.way for r in one.rounds for v in r.visits if v.kind == "unit"]
            unit, loss = self._problem.way_unit[ways], self._problem.way_loss[ways]
            done.append(sorted(zip(unit.tolist(), loss.tolist(), strict=True)))
            who.append([r.technician for r in one.rounds if not r.reason])
        return done[0] == done[1] and who[0] == who[1]

    def end(self) -> None:
        """Give it up, whether it is done or not."""
        self._aside.end()


NOT_SOUGHT = "no bound sought"
WINDOW = "last finish, for the same visits: one unit's window, the work there and the walk home"


def told(schedules: Sequence[Schedule], site: Site, *, lower_ms: int | None, what: str) -> Bound:
    """The certificate of schedules by their own clock.

    ``lower_ms``: no plan for the same visits has its last finish before this moment (None where
    nothing is proved). ``value_s`` is the time that the route decides, of all who take part: each
    one's time on the round less idle time and the fixed time of the visits. What could be saved of
    it at most is the last finish less ``lower_ms``, by each of them.
    """
    part = taking_part(schedules)
    value = sum(route_dependent_ms(s, site) for s in part)
    last = max((s.finish_ms for s in schedules if walks(s)), default=0)
    idle_s = sum(s.idle_ms for s in part) / MS_PER_S
    if lower_ms is None:
        return Bound(
            lower_s=0, value_s=value / MS_PER_S, gap_pct=None, what=what, idle_s=idle_s,
            last_finish_s=last / MS_PER_S,
        )  # fmt: skip
    lower_ms = min(lower_ms, last)
    lower = max(0, value - len(part) * (last - lower_ms))
    gap = 100.0 * (value - lower) / value if value > 0 else 0.0
    return Bound(
        lower_s=lower / MS_PER_S,
        value_s=value / MS_PER_S,
        gap_pct=round(gap, 4),
        what=what,
        idle_s=idle_s,
        last_finish_s=last / MS_PER_S,
        no_sooner_s=lower_ms / MS_PER_S,
    )


def taking_part(schedules: Sequence[Schedule]) -> list[Schedule]:
    """Those who visit a unit; where nobody does, everybody."""
    busy = [s for s in schedules if any(h.call is not None for h in s.halts)]
    return busy or list(schedules)


def walks(schedule: Schedule) -> bool:
    """Whether somebody takes a walk at all: who cannot be back in time stays at the start."""
    return bool(schedule.halts) or schedule.finish_ms > schedule.route.start_ms


class Proof:
    """How early no plan can end: sought by a copy of this process, or waited for, once begun.

    A bound that is sought ``ahead`` already is waited for. It may be given up at any moment.
    """

    def __init__(
        self,
        relaxed: CrewProblem,
        solution: CrewSolution,
        team: Team,
        *,
        limit_s: float | None,
        ahead: BoundAhead | None = None,
    ) -> None:
        def prove() -> tuple[int | None, str]:
            known = solution if ahead is None else ahead.judged(solution)
            if known.status == "no bound yet":
                rounds = rounds_for(relaxed)
                known = with_bound(relaxed, solution, rounds=rounds, limit_s=limit_s)
            return _lower_of(known, team)

        self._prove, self._ahead = prove, ahead
        self._aside = Aside(prove) if ahead is None else None

    def lower(self) -> tuple[int | None, str]:
        """The moment before which no plan ends (None where nothing is proved), and what for."""
        return self._prove() if self._aside is None else self._aside.result()

    def end(self) -> None:
        """Give it up, whether it is done or not."""
        for working in (self._aside, self._ahead):
            if working is not None:
                working.end()


def _lower_of(known: CrewSolution, team: Team) -> tuple[int | None, str]:
    """The better of the bound on a relaxed problem and that of single windows."""
    b = known.bound
    ways = [v.way for r in known.rounds for v in r.visits if v.kind == "unit"]
    alone = by_one_window(team, ways)
    if b.gap_pct is None:
        return (alone, WINDOW) if alone else (None, b.what)
    return (alone, WINDOW) if b.lower_ms <= alone else (b.lower_ms, b.what)


def by_one_window(team: Team, ways: Sequence[int]) -> int:
    """No plan for these visits ends before one of them has, begun when its window opens."""
    w, total = team.ways, team.ways.total_ms
    loss = {w.unit_of[w.ways[way].visit]: w.visits[w.ways[way].visit].loss for way in ways}
    ends: dict[int, int] = {}
    for way, here in enumerate(w.ways):
        unit, visit = w.unit_of[here.visit], w.visits[here.visit]
        if visit.loss <= loss.get(unit, -1):
            end = team.window_of(way)[0] + int(total[way]) - visit.slack_ms
            end += _least_home_ms(team, way)
            ends[unit] = min(end, ends.get(unit, end))
    return max(ends.values(), default=0)


def _least_home_ms(team: Team, way: int) -> int:
    """The quickest walk home from a way at any hour, by whoever is quickest."""
    leave = team.ways.ways[way].leave
    walks = [int(table[leave, m.finish]) for m in team.members for _, table in m.spans]
    return min((walk for walk in walks if walk >= 0), default=0)


def relaxed_problem(problem: CrewProblem, team: Team) -> CrewProblem:
    """What any plan by the clock is a plan of, and no longer: for bounds.

    Times of the ways less what a dropped way could at most have saved; whole cartridges, all of
    whose strokes are used, changed where strokes run out; no windows; no order to keep to.
    """
    less = np.asarray([team.ways.visits[w.visit].slack_ms for w in team.ways.ways], np.int64)
    way_ms = np.maximum(0, team.ways.total_ms - less)
    change_ms = [ms(gun.change_s) for gun in team.site.guns]
    anytime = np.tile(np.asarray([0, NO_LIMIT_MS], np.int64), (problem.units, 1))
    return replace(
        problem,
        way_ms=np.where(problem.way_ms >= 0, way_ms[None, :], problem.way_ms),
        cartridge_strokes=whole_cartridges(team),
        change_ms=np.asarray([change_ms] * len(team.members), np.int64),
        fitting_first=None,
        fitting_gun=None,
        fitting_strokes=None,
        window_ms=anytime,
        way_window_ms=None,
        keep=None,
        change_cost_ms=0,
    )


def slack_ms(team: Team) -> int:
    """What at most all dropped ways together could have saved."""
    most = dict.fromkeys(team.ways.units, 0)
    for visit in team.ways.visits:
        unit = visit.work.unit.unit
        most[unit] = max(most[unit], visit.slack_ms)
    return sum(most.values())


def fewest_changes_ms(schedule: Schedule, team: Team) -> int:
    """Changes that nobody alone gets round: strokes of each gun over a whole cartridge."""
    guns, total_ms = [g.name for g in team.site.guns], 0
    calls = schedule.calls
    strokes = np.sum([strokes_of(c.visit, guns) for c in calls] or [[0] * len(guns)], axis=0)
    for gun, need, holds in zip(team.site.guns, strokes, whole_cartridges(team)[0], strict=True):
        over = max(0, int(need) - gun.left_strokes)
        total_ms += -(-over // int(holds)) * ms(gun.change_s)
    return total_ms
