"""From a prepared round to schedules: the search for one technician or a crew, and its proof."""

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from greaseroute.plan.round import Bound
from greaseroute.rounds.bag_levels import fuller, levels_for_bags
from greaseroute.rounds.clock import Clock, clocks_of
from greaseroute.rounds.prepare import Prepared, Progress, with_levels
from greaseroute.rounds.proof import (
    WINDOW,
    by_one_window,
    fewest_changes_ms,
    slack_ms,
    told,
    walks,
)
from greaseroute.rounds.ready_team import build_team
from greaseroute.rounds.request import Effort
from greaseroute.rounds.room_for_more import room_for_more
from greaseroute.rounds.rounds import Units
from greaseroute.rounds.same_halts import same_halts
from greaseroute.rounds.savings import savings
from greaseroute.rounds.schedule import Schedule, fixed_ms, halts_of, keeps_windows, schedule_of
from greaseroute.rounds.solved import Solved
from greaseroute.rounds.team import Team, bag, capacity, cluster_cost, strokes_of
from greaseroute.rounds.together import solve_together, weights_of
from greaseroute.site.morning import changes
from greaseroute.solvers.arrays import FAR
from greaseroute.solvers.gtsp.solve import solve_clusters
from greaseroute.units import MS_PER_S

NOTHING_TO_PROVE = "no unit is visited: the walk from start to finish is the shortest there is"


MOST_FILLED_UP = 3  # searches with joints for which a bag holds enough, one after the other
MOST_LAST = 6  # times that joints are taken in which a plan still has room for; one is the rule
SEARCH_PASSES = 500  # per unit, where neither a count nor a time limit is given


NO_LIMIT_S = 1e9


def solve(ready: Prepared, *, effort: Effort, progress: Progress) -> Solved:
    """The best schedules found and what is proved about them.

    Where time is too short for a unit, the search is made again with visits that serve only the
    weightier joints of a unit, and the better of the two is taken.
    """
    team = build_team(ready)
    if not team.ways.ways:
        return _nothing_to_do(ready, team)
    alone = len(team.members) == 1 and never_opens(ready) and ready.keep is None
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
    """The shortest tour, or one that ends sooner: by waiting less, or by other cartridge changes.

    The bound of the tour holds for both: it takes no window and no place of a change into account.
    """
    (tour,) = alone.schedules
    if not alone.complete or (tour.idle_ms == 0 and not changes_take_time(tour, alone.team)):
        return alone
    quick = replace(effort, prove=False)
    known = [halts_of(alone.team, tour)]
    found = solve_together(alone.ready, alone.team, effort=quick, progress=progress, known=known)
    if found.skipped or found.lost > alone.lost or not found.complete:
        return alone
    if found.schedules[0].finish_ms >= tour.finish_ms and found.bound.gap_pct is None:
        return alone
    if found.bound.gap_pct is not None and found.schedules[0].finish_ms <= tour.finish_ms:
        return found
    return replace(found, bound=_bound_of_tour(found.schedules, alone))


def never_opens(ready: Prepared) -> bool:
    """Whether the ground of the first hour is the widest: nothing opens later, some may be shut."""
    plan = ready.site.ground
    return not changes((*plan.no_go, *plan.crossings), ready.morning)


def goes_round(schedule: Schedule, team: Team) -> bool:
    """Whether some leg takes longer than on the ground of the first hour."""
    table = team.members[schedule.route.technician].spans[0][1]
    legs = [(h.origin, h.enter, h.leg) for h in schedule.halts]
    legs.append((schedule.last, schedule.route.finish, schedule.home))
    return any(leg.arrive_ms - leg.depart_ms > int(table[a, b]) for a, b, leg in legs if a != b)


def changes_take_time(schedule: Schedule, team: Team) -> bool:
    """Whether cartridges are changed that another order might not need."""
    return fewest_changes_ms(schedule, team) < fixed_ms(schedule, team.site) - sum(
        h.call.visit.fixed_ms for h in schedule.halts if h.call is not None
    )


def _bound_of_tour(schedules: Sequence[Schedule], alone: Solved) -> Bound:
    b = alone.bound
    lower_ms = None if b.no_sooner_s is None else round(b.no_sooner_s * MS_PER_S)
    return told(schedules, alone.team.site, lower_ms=lower_ms, what=b.what)


def _with_less_service(found: Solved, team: Team, *, effort: Effort, progress: Progress) -> Solved:
    """The better of what was found and a search with visits that serve less at a unit."""
    progress("time is short: the weightiest joints of each unit")
    found.give_up_proof()
    again = _at_levels(found, {}, effort=effort, progress=progress)
    for _ in range(MOST_FILLED_UP):
        more = fuller(again)
        if not more or not again.complete:
            break
        filled = _at_levels(again, more, effort=effort, progress=progress)
        if filled.lost >= again.lost:
            filled.give_up_proof()
            break
        again.give_up_proof()
        again = filled
    best = again if again.lost < found.lost else replace(found, skipped=_told_again(found, again))
    if best is not again:
        again.give_up_proof()
    best = _with_last_joints(best, effort=effort, progress=progress)
    progress("what more time or one more technician would save")
    notes = savings(again.team, lost=best.lost, skip_loss=weights_of(team), seed=effort.seed)
    return replace(best, notes=notes)


def _with_last_joints(best: Solved, *, effort: Effort, progress: Progress) -> Solved:
    """The plan with what it leaves out and still has room for, one joint after the other."""
    for _ in range(MOST_LAST):
        more = _room_left(best) if best.complete else {}
        if not more:
            break
        filled = _at_levels(best, more, effort=effort, progress=progress, searched=False)
        if filled.lost >= best.lost:
            filled.give_up_proof()
            break
        best.give_up_proof()
        best = filled
    return best


def _room_left(solved: Solved) -> dict[str, list[frozenset[str]]]:
    weights, team = weights_of(solved.team), solved.team
    units = Units(team, [weights[u] for u in team.ways.units])
    halts = [halts_of(team, s) for s in solved.schedules]
    return room_for_more(solved.ready, clocks_of(team), units, halts=halts)


def _at_levels(
    known: Solved,
    more: Mapping[str, Sequence[frozenset[str]]],
    *,
    effort: Effort,
    progress: Progress,
    searched: bool = True,
) -> Solved:
    """The search with visits that serve less, also the sets of joints in ``more``: what is known
    already is filled up with them too, and nothing but that is done without ``searched``."""
    ready = known.ready
    levels = levels_for_bags(ready.site, ready.technicians, _with_known(known, more))
    fewer = with_levels(ready, levels)
    team = build_team(fewer)
    halts = [halts_of(known.team, s) for s in known.schedules]
    same = same_halts(known.team, halts, other=team)
    if same is None:
        searched = True
    return solve_together(
        fewer, team, effort=effort, progress=progress, known=same or (), searched=searched
    )


def _with_known(
    known: Solved, more: Mapping[str, Sequence[frozenset[str]]]
) -> dict[str, list[frozenset[str]]]:
    """Sets of joints with those that are served already: what is known stays a plan."""
    sets = {unit: list(some) for unit, some in more.items()}
    for call in known.calls:
        served = frozenset(joint for joint, _ in call.visit.items)
        sets.setdefault(call.visit.work.unit.unit, []).append(served)
    return sets


def _told_again(found: Solved, again: Solved) -> dict[str, str]:
    """Why units are not visited: where less service was tried as well, what stops that."""
    left = set(found.skipped) - _visited(found) - _visited(again)
    return {u: again.skipped.get(u, why) if u in left else why for u, why in found.skipped.items()}


def _visited(solved: Solved) -> set[str]:
    return {call.visit.work.unit.unit for call in solved.calls}


def _nothing_to_do(ready: Prepared, team: Team) -> Solved:
    schedules = tuple(schedule_of(clock, ()) for clock in clocks_of(team))
    last_ms = max((s.finish_ms for s in schedules if walks(s)), default=0)
    bound = told(schedules, ready.site, lower_ms=last_ms, what=NOTHING_TO_PROVE)
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
    schedule = schedule_of(Clock(team, 0), order)
    if not fits(schedule, team) or goes_round(schedule, team):
        return None
    fixed = sum(h.call.visit.fixed_ms for h in schedule.halts if h.call is not None)
    fewest_ms = fewest_changes_ms(schedule, team)
    tour_ms = member.start_ms + tour.lower_bound - slack_ms(team) + fixed + fewest_ms
    window_ms = by_one_window(team, order)
    what = f"shortest tour over all ways in and out: {tour.what}; waits left out"
    if changes_take_time(schedule, team):
        what += "; the fewest cartridge changes there can be"
    bound = told(
        [schedule],
        team.site,
        lower_ms=max(tour_ms, window_ms),
        what=what if tour_ms >= window_ms else WINDOW,
    )
    left_out = sum(h.call.visit.loss for h in schedule.halts if h.call is not None)
    complete = tour.status != "interrupted"
    return Solved(ready, team, (schedule,), {}, bound, complete=complete, lost=left_out)


def fits(schedule: Schedule, team: Team) -> bool:
    """Whether a schedule without reloads keeps every window, the end and the bag."""
    used = sum(n for row in schedule.carried.put_in for n in row)
    member = team.members[schedule.route.technician]
    in_time = schedule.finish_ms <= member.end_ms and keeps_windows(schedule, team)
    return in_time and used <= bag(member.technician, team.site)
