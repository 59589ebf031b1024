"""A round with the guns as the morning before left them: the same walk, its cartridges anew."""

from collections.abc import Mapping
from dataclasses import replace

from greaseroute.dose.cartridges import cartridge_strokes
from greaseroute.rounds.schedule import Schedule, clock_of, keeps_windows, timed
from greaseroute.rounds.solved import Solved
from greaseroute.rounds.team import Team, bag
from greaseroute.site.model import Site
from greaseroute.units import ms


def site_with_guns(site: Site, left: Mapping[str, int]) -> Site:
    """The site with so many strokes left in each gun named."""
    guns = tuple(
        gun.model_copy(update={"left_strokes": left.get(gun.name, gun.left_strokes)})
        for gun in site.guns
    )
    return replace(site, guns=guns)


def with_guns(solved: Solved, left: Mapping[str, int]) -> Solved | None:
    """The same halts with these guns; None where that breaks an hour or overfills a bag.

    The bound stays one: guns that hold more save at most the changes for that.
    """
    site = site_with_guns(solved.team.site, left)
    team = replace(solved.team, site=site)
    schedules = tuple(timed(s.route, clock_of(team, s.route.technician)) for s in solved.schedules)
    if not all(_keeps(s, team) for s in schedules):
        return None
    ready = replace(solved.ready, site=site)
    less_ms = _saved_ms(solved.team.site, left)
    return replace(solved, ready=ready, team=team, schedules=schedules, less_ms=less_ms)


def _saved_ms(site: Site, left: Mapping[str, int]) -> int:
    """What fuller guns save at most: the changes for the strokes that they hold more."""
    greases = {grease.name: grease for grease in site.greases}
    saved = 0
    for gun in site.guns:
        more = max(0, left.get(gun.name, gun.left_strokes) - gun.left_strokes)
        changes = -(-more // max(1, cartridge_strokes(gun, greases[gun.grease])))
        saved += changes * ms(gun.change_s)
    return saved


def _keeps(schedule: Schedule, team: Team) -> bool:
    """Whether a schedule keeps windows, the end and the bag between one store and the next."""
    member, room = team.members[schedule.route.technician], 0
    calls = iter(schedule.carried.put_in)
    for halt in schedule.halts:
        room = 0 if halt.call is None else room + sum(next(calls))
        if room > bag(member.technician, team.site):
            return False
    in_time = schedule.finish_ms <= member.end_ms or not schedule.halts
    return in_time and keeps_windows(schedule, team)
