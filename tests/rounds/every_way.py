"""The best round by the clock of a small site: every order of ways, by a plain clock of its own.

Taken from the package are the ways of each visit (first and last stand, time between them, fittings
in pumping order), windows, walking times and legs through a change of hours. Done anew: cartridges
changed where a gun cannot finish the next fitting, waits, the bag and every visit to a store, every
unit left out or served less, every way to share the units, every order. Nothing is dropped but
what comes to the same place later with the same guns, bag and units done.
"""

from collections.abc import Iterator
from itertools import product

from greaseroute.dose.cartridges import cartridge_strokes
from greaseroute.rounds.prepare import Prepared, with_levels
from greaseroute.rounds.ready_team import build_team
from greaseroute.rounds.team import Team
from greaseroute.visits.steps import unit_call
from greaseroute.visits.work import outfit_of
from tests.rounds.every_order import FAR, Best

Levels = tuple[int, ...]


def best_by_the_clock(ready: Prepared) -> Best:
    """Everything in reach served, or the better of whole visits and visits that serve less."""
    whole = best_round(ready)
    team = build_team(ready)
    least = sum(
        min(v.loss for v in team.ways.visits if v.work.unit.unit == u) for u in team.ways.units
    )
    if whole.lost == least:
        return whole
    return min(whole, best_round(with_levels(ready)))


def best_round(ready: Prepared) -> Best:
    """The least weight lost and then the earliest last finish over the visits of ``ready``."""
    team = build_team(ready)
    walkers = [_Walker(ready, team, k) for k in range(len(team.members))]
    idle = (0,) * len(team.ways.units)
    part = [w for w in walkers if w.finishes[idle] < FAR]
    return min(_values(ready, team, part), default=Best(0, 0))


def _values(ready: Prepared, team: Team, part: "list[_Walker]") -> Iterator[Best]:
    units = team.ways.units
    skip = [max(v.work.weight for v in team.ways.visits if v.work.unit.unit == u) for u in units]
    options = [
        [(None, 0, skip[k])]
        + [(w, level, loss) for w in part for level, (loss, _) in enumerate(w.calls[k], start=1)]
        for k in range(len(units))
    ]
    for share in product(*options):
        ends = [
            w.finishes.get(tuple(lv if who is w else 0 for who, lv, _ in share), FAR) for w in part
        ]
        if max(ends, default=0) < FAR:
            yield Best(sum(loss for _, _, loss in share), max(ends, default=0))


class _Walker:
    """One technician: ``finishes`` holds the earliest finish of each set of levels."""

    def __init__(self, ready: Prepared, team: Team, number: int) -> None:
        self.team, self.member, self.site = team, team.members[number], ready.site
        held = {g.grease for g in self.site.guns if g.name in self.member.technician.guns}
        kept = sum(g.reserve_cartridges for g in self.site.greases if g.name in held)
        self.room = max(1, self.member.technician.bag_cartridges - kept)
        greases = {g.name: g for g in self.site.greases}
        self.holds = {g.name: cartridge_strokes(g, greases[g.grease]) for g in self.site.guns}
        self.change = {g.name: round(1000 * g.change_s) for g in self.site.guns}
        self.calls = self._calls()
        self.finishes: dict[Levels, int] = {}
        self.seen: dict[tuple[object, ...], int] = {}
        left = tuple((g.name, g.left_strokes) for g in self.site.guns)
        nothing = (0,) * len(team.ways.units)
        self._go_on(self.member.start, self.member.start_ms, left, 0, nothing)

    def _calls(self):
        """For each unit its levels: what is lost, the ways with their fittings in order."""
        mine = outfit_of(self.member.technician, self.site)
        found = [[] for _ in self.team.ways.units]
        for visit, outfit in enumerate(self.team.outfit_of_visit):
            if outfit == mine:
                ways = [
                    (k, [(f.gun, f.strokes) for f in self._pumped(w)])
                    for k, w in enumerate(self.team.ways.ways)
                    if w.visit == visit
                ]
                loss = self.team.ways.visits[visit].loss
                found[self.team.ways.unit_of[visit]].append((loss, ways))
        return found

    def _pumped(self, way):
        return unit_call(self.team.ways.visits[way.visit], way.way).fittings

    def _arrive(self, a: int, b: int, at: int) -> int:
        return self.member.legs.leg(a, b, from_ms=at).arrive_ms

    def _go_on(self, point, ready, left, used, done) -> None:
        key = (point, left, used, done)
        if self.seen.get(key, FAR) <= ready:
            return
        self.seen[key] = ready
        home = self._arrive(point, self.member.finish, ready)
        if home <= self.member.end_ms:
            self.finishes[done] = min(home, self.finishes.get(done, FAR))
        else:
            self.finishes.setdefault(done, FAR)
        begins = [(point, ready, used)]
        if used:
            reload_ms = round(1000 * self.site.rules.reload_s)
            begins += [(s, self._arrive(point, s, ready) + reload_ms, 0) for s in self.team.stores]
        for unit, levels in enumerate(self.calls):
            for level, (_, ways) in enumerate(levels, start=1):
                if not done[unit]:
                    after = (*done[:unit], level, *done[unit + 1 :])
                    for way, fittings in ways:
                        for here, at, put_in in begins:
                            self._work(here, at, left, put_in, (way, fittings, after))

    def _work(self, point, ready, left, used, call) -> None:
        way, fittings, after = call
        holds, spent = dict(left), 0
        for gun, strokes in fittings:
            while holds[gun] < strokes:  # a fitting may outlast several cartridges
                new = -(-strokes // self.holds[gun])
                holds[gun], used = new * self.holds[gun], used + new
                spent += new * self.change[gun]
            holds[gun] -= strokes
        if used > self.room:
            return
        here = self.team.ways.ways[way]
        low, high = self.team.window_of(way)
        begin = max(low, self._arrive(point, here.enter, ready))
        leave = begin + int(self.team.ways.total_ms[way]) + spent
        if leave <= min(high, self.member.end_ms):
            self._go_on(here.leave, leave, tuple(holds.items()), used, after)
