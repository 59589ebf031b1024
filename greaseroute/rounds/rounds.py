"""Rounds of a crew as halts of each technician, judged by the clock."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise

from greaseroute.rounds.clock import STORE, Clock
from greaseroute.rounds.team import Team
from greaseroute.walk.legs import NEVER

Choices = Sequence[Sequence[Sequence[int]]]  # the ways of each level of each unit


@dataclass(frozen=True, slots=True)
class Rounds:
    """Halts of each technician: weight lost, how many are late, last finish of those who take part.

    ``last_ms`` counts nobody who cannot take part; ``moved`` are units that follow another than in
    the order to keep to, ``walk_mm`` the metres between units.
    """

    halts: tuple[tuple[int, ...], ...]
    lost: int
    late: int
    last_ms: int
    moved: int
    walk_mm: int


@dataclass(frozen=True, eq=False)
class Units:
    """The units of a team, what is lost at each, the order to keep to and what leaving it costs."""

    team: Team
    skip_loss: Sequence[int]
    keep: Sequence[Sequence[int]] | None = None
    change_cost_ms: int = 0

    @cached_property
    def ways_of_visit(self) -> Mapping[int, tuple[int, ...]]:
        """The ways of each visit, by its row."""
        found: dict[int, list[int]] = {}
        for way, here in enumerate(self.team.ways.ways):
            found.setdefault(here.visit, []).append(way)
        return {visit: tuple(ways) for visit, ways in found.items()}

    @cached_property
    def unit_of_way(self) -> list[int]:
        """The unit of each way."""
        rows: list[int] = self.team.ways.way_unit.tolist()
        return rows

    def choices(self, clock: Clock) -> list[list[tuple[int, ...]]]:
        """For each unit the ways of each level of service that a technician could give."""
        found: list[list[tuple[int, ...]]] = [[] for _ in self.skip_loss]
        for visit, ways in self.ways_of_visit.items():
            if ways[0] in clock.mine:
                found[self.team.ways.unit_of[visit]].append(ways)
        return found

    def loss_of(self, ways: Sequence[int]) -> int:
        """The weight that a level of service leaves."""
        return self.team.ways.visits[self.team.ways.ways[ways[0]].visit].loss

    def optimistic(self, mine: Choices, everybody: Sequence[Choices]) -> dict[tuple[int, int], int]:
        """Least loss at each unit: level 0 by anybody's best, else by that level of one's own."""
        found = {}
        for unit, skip in enumerate(self.skip_loss):
            found[unit, 0] = min(
                [skip, *(self.loss_of(ways) for each in everybody for ways in each[unit])]
            )
            for level, ways in enumerate(mine[unit], start=1):
                found[unit, level] = self.loss_of(ways)
        return found

    @cached_property
    def best_loss(self) -> list[int]:
        """What is lost at each unit at least."""
        best = list(self.skip_loss)
        for visit in self.ways_of_visit:
            unit = self.team.ways.unit_of[visit]
            best[unit] = min(best[unit], self.team.ways.visits[visit].loss)
        return best

    @property
    def least_lost(self) -> int:
        """The weight that no round can serve."""
        return sum(self.best_loss)

    def left(self, halts: Sequence[Sequence[int]]) -> dict[int, int]:
        """The units that are not served as well as they could be, with what is lost at each."""
        done = {self.unit_of_way[w]: self.loss_of((w,)) for row in halts for w in row if w >= 0}
        now = {unit: done.get(unit, skip) for unit, skip in enumerate(self.skip_loss)}
        return {unit: loss for unit, loss in now.items() if loss > self.best_loss[unit]}

    def lost(self, halts: Sequence[Sequence[int]]) -> int:
        """Weight left out."""
        done = {self.unit_of_way[w]: self.loss_of((w,)) for row in halts for w in row if w >= 0}
        return sum(done.get(unit, skip) for unit, skip in enumerate(self.skip_loss))

    def judged(self, clocks: Sequence[Clock], halts: Sequence[Sequence[int]]) -> Rounds:
        """Rounds by the clock."""
        ends = [clock.run(row) for clock, row in zip(clocks, halts, strict=True)]
        out = [not row and end >= NEVER for row, end in zip(halts, ends, strict=True)]
        taking = [end for end, away in zip(ends, out, strict=True) if not away]
        return Rounds(
            halts=tuple(tuple(row) for row in halts),
            lost=self.lost(halts),
            late=sum(end >= NEVER for end in taking),
            last_ms=max(taking, default=0),
            moved=self._moved(halts),
            walk_mm=sum(self._walk_mm(c, row) for c, row in zip(clocks, halts, strict=True)),
        )

    def worth(self, rounds: Rounds) -> tuple[int, int, int, int]:
        """What is made least, one after the other: late, lost, last finish, metres."""
        end = rounds.last_ms + self.change_cost_ms * rounds.moved
        return rounds.late, rounds.lost, end, rounds.walk_mm

    def _moved(self, halts: Sequence[Sequence[int]]) -> int:
        """Units that follow another than in the order to keep to, or another technician's."""
        if self.keep is None:
            return 0
        before = {
            unit: previous
            for t, row in enumerate(self.keep)
            for previous, unit in pairwise([-1 - t, *row])
        }
        now = {
            unit: previous
            for t, row in enumerate(halts)
            for previous, unit in pairwise([-1 - t, *(self.unit_of_way[w] for w in row if w >= 0)])
        }
        return sum(before.get(unit) != previous for unit, previous in now.items())

    def _walk_mm(self, clock: Clock, row: Sequence[int]) -> int:
        points = [clock.member.start]
        for halt in row:
            store = clock.team.stores[STORE - halt] if halt < 0 else -1
            points += [store, store] if halt < 0 else [clock.enter[halt], clock.leave[halt]]
        points.append(clock.member.finish)
        table = self.team.length_mm[0]
        legs = zip(points[::2], points[1::2], strict=True)
        return sum(max(0, int(table[a, b])) for a, b in legs)
