"""The best ways and store visits for units in a given order, by the clock: exact."""

from collections.abc import Sequence
from typing import NamedTuple

from greaseroute.rounds.clock import STORE, Clock, Spot
from greaseroute.walk.legs import NEVER


class Label(NamedTuple):
    """A spot and the halts that led to it."""

    spot: Spot
    halts: tuple[int, ...]


def with_stores(clock: Clock, label: Label) -> list[Label]:
    """The label itself and, where something was put in since, by way of each store."""
    found = [label]
    if label.spot.used:
        for store in range(len(clock.team.stores)):
            filled = clock.fill(label.spot, store)
            if filled is not None:
                found.append(Label(filled, (*label.halts, STORE - store)))
    return found


def best_in_order(clock: Clock, groups: Sequence[Sequence[int]]) -> tuple[int, tuple[int, ...]]:
    """(finish, halts) of the round that ends first with one way of each group, in that order.

    ``NEVER`` and no halts where there is none in time.
    """
    labels = [Label(clock.start, ())]
    for group in groups:
        found = [
            Label(there, (*label.halts, way))
            for before in labels
            for label in with_stores(clock, before)
            for way in group
            if (there := clock.work(label.spot, way)) is not None
        ]
        labels = undominated(clock, found)
    ends = [(clock.home(label.spot), label.halts) for label in labels]
    return min(ends, default=(NEVER, ()))


def without_needless_stores(clock: Clock, halts: Sequence[int]) -> tuple[int, ...]:
    """A round less every visit to a store without which it ends no later, and less those that
    nothing is loaded at, unless it is late without.
    """
    kept = tuple(halts)
    for place in reversed(range(len(kept))):
        if kept[place] >= 0:
            continue
        less = (*kept[:place], *kept[place + 1 :])
        latest = NEVER - 1 if _loads_nothing(clock, kept, place) else clock.run(kept)
        if clock.run(less) <= latest:
            kept = less
    return kept


def _loads_nothing(clock: Clock, halts: Sequence[int], place: int) -> bool:
    """Whether no cartridge goes in between a visit to a store and the next one, or the end."""
    after = next((k for k in range(place + 1, len(halts)) if halts[k] < 0), len(halts))
    last = clock.spots(halts)[after]
    return last is not None and last.used == 0


def undominated(clock: Clock, labels: Sequence[Label]) -> list[Label]:
    """Labels that no other one is as good as, the earliest first."""
    kept: list[Label] = []
    for label in sorted(labels, key=lambda x: (x.spot.ready_ms, x.spot.used, len(x.halts))):
        if not any(clock.dominates(other.spot, label.spot) for other in kept):
            kept.append(label)
    return kept
