"""Rounds that keep every hour: what is late is mended, what fits is put back, by the clock."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from greaseroute.rounds.clock import ANY, STORE, Clock
from greaseroute.rounds.in_order import best_in_order
from greaseroute.rounds.rounds import Rounds, Units
from greaseroute.walk.legs import NEVER

FEW_PLACES = 12  # places for a unit tried by the clock: those that lengthen the walk least
MOST_PASSES = 12


@dataclass(frozen=True, eq=False)
class Mender:
    """Rounds of a crew and what can be done about them."""

    clocks: Sequence[Clock]
    units: Units

    def mended(self, halts: Sequence[Sequence[int]]) -> Rounds:
        """Rounds near the given ones that are in time, with as little lost as is found."""
        return self._filled_up([tuple(self.in_time(k, row)) for k, row in enumerate(halts)])

    def in_time(self, k: int, halts: Sequence[int]) -> list[int]:
        """The round of technician k, less what makes it late."""
        row = self._quickest(k, list(halts))
        while row and self.clocks[k].run(row) >= NEVER:
            row = self._quickest(k, self._with_less(k, row))
        return row

    def _quickest(self, k: int, row: list[int]) -> list[int]:
        """The same units in the same order by the best ways and store visits."""
        groups = [
            self.units.ways_of_visit[self.units.team.ways.ways[w].visit] for w in row if w >= 0
        ]
        end, halts = best_in_order(self.clocks[k], groups)
        return row if end >= NEVER else list(halts)

    def _with_less(self, k: int, row: list[int]) -> list[int]:
        """The round with one unit left out or served less: the least loss that makes it in time.

        Where none does, what gains most steps in time for its loss.
        """
        clock = self.clocks[k]

        def worth(less: list[int]) -> tuple[int, float, int]:
            loss = self.units.lost([less])
            end = clock.run(less)
            if end < NEVER:
                return 0, float(loss), end
            return 1, -self._made(k, less) + loss / (1 + sum(self.units.skip_loss)), 0

        return min(self._lesser(k, row), key=worth)

    def _made(self, k: int, row: Sequence[int]) -> float:
        """How far a late round gets: the share of its halts made in time."""
        clock, spot = self.clocks[k], self.clocks[k].start
        for number, halt in enumerate(row):
            after = clock.step(spot, halt)
            if after is None:
                return number / len(row)
            spot = after
        return 1.0

    def _lesser(self, k: int, row: list[int]) -> Iterator[list[int]]:
        choices = self.units.choices(self.clocks[k])
        for place, halt in enumerate(row):
            yield [*row[:place], *row[place + 1 :]]
            if halt < 0:
                continue
            loss = self.units.loss_of((halt,))
            for ways in choices[self.units.unit_of_way[halt]]:
                if self.units.loss_of(ways) > loss:
                    best = min(ways, key=lambda w: self._longer_ms(k, row, (place, w)))
                    yield [*row[:place], best, *row[place + 1 :]]

    def _longer_ms(self, k: int, row: Sequence[int], at: tuple[int, int]) -> int:
        """What (place, way) adds before the halt there, by the walking times of the first span."""
        clock, (place, way) = self.clocks[k], at
        table = clock.member.spans[0][1]
        before = [w for w in row[:place] if w >= 0][-1:]
        after = [w for w in row[place:] if w >= 0][:1]
        a = clock.leave[before[0]] if before else clock.member.start
        b = clock.enter[after[0]] if after else clock.member.finish
        legs = int(table[a, clock.enter[way]]) + int(table[clock.leave[way], b])
        return legs - int(table[a, b]) + int(clock.total_ms[way])

    def _filled_up(self, rows: Sequence[tuple[int, ...]]) -> Rounds:
        """Units that were left out or are served less put back where there is time."""
        best = self.units.judged(self.clocks, rows)
        for _ in range(MOST_PASSES):
            if best.lost <= self.units.least_lost:
                break
            better = self._one_more(best)
            if better is None:
                break
            best = better
        if best.halts == tuple(rows):
            return best
        again = [self._quickest(k, list(row)) for k, row in enumerate(best.halts)]
        return min(best, self.units.judged(self.clocks, again), key=self.units.worth)

    def _one_more(self, rounds: Rounds) -> Rounds | None:
        """One unit more, or one served better, the heaviest that fits; None where none does."""
        loss = self.units.left(rounds.halts)
        for unit in sorted(loss, key=lambda u: -loss[u]):
            tried = [
                self.units.judged(self.clocks, halts)
                for k in range(len(self.clocks))
                for ways in self.units.choices(self.clocks[k])[unit]
                if self.units.loss_of(ways) < loss[unit]
                for halts in self._with(rounds, k, unit=unit, ways=ways)
            ]
            fine = [r for r in tried if r.late == 0 and r.lost < rounds.lost]
            if fine:
                return min(fine, key=self.units.worth)
        return None

    def _with(
        self, rounds: Rounds, k: int, *, unit: int, ways: Sequence[int]
    ) -> Iterator[list[tuple[int, ...]]]:
        """Rounds with a unit in technician k's, at the places that lengthen the walk least."""
        rows = [
            [w for w in row if w < 0 or self.units.unit_of_way[w] != unit] for row in rounds.halts
        ]
        mine = rows[k]
        places = sorted(
            (self._longer_ms(k, mine, (p, w)), p, w) for p in range(len(mine) + 1) for w in ways
        )
        for _, place, way in places[:FEW_PLACES]:
            for row in self._with_stores(k, mine, (place, way)):
                yield [row if t == k else tuple(r) for t, r in enumerate(rows)]

    def _with_stores(
        self, k: int, mine: Sequence[int], at: tuple[int, int]
    ) -> Iterator[tuple[int, ...]]:
        """The round with (place, way) that is in time; where only the bag is too small for it, with
        a visit to a store before or after."""
        clock, (place, way) = self.clocks[k], at
        before, after = tuple(mine[:place]), tuple(mine[place:])
        row = (*before, way, *after)
        if clock.run(row) < NEVER:
            yield row
        elif clock.team.stores and clock.with_room(ANY).run(row) < NEVER:
            for store in range(len(clock.team.stores)):
                for more in ((STORE - store, way), (way, STORE - store)):
                    row = (*before, *more, *after)
                    if clock.run(row) < NEVER:
                        yield row
