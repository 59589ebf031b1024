"""A few units by the clock, every order gone through: least weight lost, then the last finish."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from itertools import product

from greaseroute.rounds.clock import Clock
from greaseroute.rounds.in_order import Label, undominated, with_stores
from greaseroute.rounds.rounds import Choices, Rounds, Units
from greaseroute.walk.legs import NEVER

# Steps of the clock and shares gone through: a few seconds. Beyond, orders are searched.
MOST_STEPS, MOST_SHARES = 40_000, 50_000

Levels = tuple[int, ...]  # for each unit 0 where it is left, else 1 plus the level of service
Best = dict[Levels, tuple[int, tuple[int, ...]]]


Option = tuple[int, int, int]  # who (-1 nobody), level, what is lost
LATE = (NEVER, NEVER, NEVER)


class _TooMany(Exception):
    """More steps than are gone through."""


@dataclass(slots=True)
class _Orders:
    """Every order of one technician; ``best`` holds (finish, halts) of each set of levels."""

    clock: Clock
    choices: Choices
    optimistic: Mapping[tuple[int, int], int]
    most_lost: int
    most_ms: int
    steps: int = 0
    best: Best = field(default_factory=dict)

    def all(self) -> Best:
        """Go through the sets, those of fewer units first."""
        nothing: Levels = (0,) * len(self.choices)
        layer = {nothing: [Label(self.clock.start, ())]}
        self.best[nothing] = self.clock.home(self.clock.start), ()
        while layer:
            following: dict[Levels, list[Label]] = {}
            for done, found in layer.items():
                labels = undominated(self.clock, found)
                ends = [(self.clock.home(label.spot), label.halts) for label in labels]
                self.best[done] = min(ends)
                for before in labels:
                    self._go_on(done, before, following)
            layer = following
        return self.best

    def _go_on(self, done: Levels, before: Label, following: dict[Levels, list[Label]]) -> None:
        for label in with_stores(self.clock, before):
            for unit, levels in enumerate(self.choices):
                for level, ways in enumerate(levels, start=1):
                    after = (*done[:unit], level, *done[unit + 1 :])
                    if done[unit] or self._lost(after) > self.most_lost:
                        continue
                    self.steps += len(ways)
                    if self.steps > MOST_STEPS:
                        raise _TooMany
                    found = self._worked(label, ways)
                    if found:
                        following.setdefault(after, []).extend(found)

    def _worked(self, label: Label, ways: Sequence[int]) -> list[Label]:
        spots = ((way, self.clock.work(label.spot, way)) for way in ways)
        return [
            Label(spot, (*label.halts, way))
            for way, spot in spots
            if spot is not None and self.clock.home(spot) <= self.most_ms
        ]

    def _lost(self, done: Levels) -> int:
        """What is lost at least: the levels taken, everything else served as well as can be."""
        return sum(self.optimistic[unit, level] for unit, level in enumerate(done))


def best_of_all(clocks: Sequence[Clock], units: Units, known: Rounds) -> Rounds | None:
    """The best rounds there are; None where there are too many orders to go through."""
    choices = [units.choices(clock) for clock in clocks]
    shares = 1.0
    for unit in range(len(units.skip_loss)):
        shares *= 1 + sum(len(mine[unit]) for mine in choices)
    if shares > MOST_SHARES:
        return None
    try:
        found = [
            _Orders(c, mine, units.optimistic(mine, choices), known.lost, _most_ms(c, known, units))
            for c, mine in zip(clocks, choices, strict=True)
        ]
        best = [orders.all() for orders in found]
    except _TooMany:
        return None
    return _Shares(clocks, units, best, choices).least()


def _most_ms(clock: Clock, known: Rounds, units: Units) -> int:
    """No round that ends later is of use where all that can be served is served already."""
    return min(NEVER - 1, known.last_ms) if known.lost == units.least_lost else NEVER - 1


@dataclass(frozen=True, slots=True)
class _Shares:
    """Every way to give the units to the technicians, by the best round of each for its share."""

    clocks: Sequence[Clock]
    units: Units
    best: Sequence[Best]
    choices: Sequence[Choices]

    def least(self) -> Rounds | None:
        """The one with the least lost, then the last finish, then all finishes together."""
        part = [k for k, best in enumerate(self.best) if best[self._idle][0] < NEVER]
        found = (
            (self._worth(share, rows, part), rows)
            for share in product(*(self._options(u, part) for u in range(len(self._idle))))
            for rows in [tuple(_levels(share, k) for k in part)]
        )
        worth, rows = min(found, default=((0, NEVER, 0), ()))
        if worth[1] >= NEVER:
            return None
        halts: list[tuple[int, ...]] = [()] * len(self.clocks)
        for k, row in zip(part, rows, strict=True):
            halts[k] = self.best[k][row][1]
        return self.units.judged(self.clocks, halts)

    @property
    def _idle(self) -> Levels:
        return (0,) * len(self.units.skip_loss)

    def _options(self, unit: int, part: Sequence[int]) -> list[Option]:
        served = [
            (k, level, self.units.loss_of(ways))
            for k in part
            for level, ways in enumerate(self.choices[k][unit], start=1)
        ]
        return [(-1, 0, self.units.skip_loss[unit]), *served]

    def _worth(
        self, share: Sequence[Option], rows: Sequence[Levels], part: Sequence[int]
    ) -> tuple[int, int, int]:
        late: tuple[int, tuple[int, ...]] = (NEVER, ())
        ends = [self.best[k].get(row, late)[0] for k, row in zip(part, rows, strict=True)]
        if max(ends, default=0) >= NEVER:
            return LATE
        return sum(loss for _, _, loss in share), max(ends, default=0), sum(ends)


def _levels(share: Sequence[Option], technician: int) -> Levels:
    """What of a share is one technician's."""
    return tuple(level if who == technician else 0 for who, level, _ in share)
