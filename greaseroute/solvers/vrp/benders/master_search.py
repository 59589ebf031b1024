"""Sharing out by search: tariffs as tables, and the compiled annealing over them."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from greaseroute.solvers.arrays import BoolArray, IntArray
from greaseroute.solvers.vrp.benders.cut import Tariff
from greaseroute.solvers.vrp.benders.route_points import Bag
from greaseroute.solvers.vrp.kernels.assignment import even_out

STEPS = 25_000  # some hundredths of a second
HEAT = 0.001  # first heat over the time that the technicians have


class Unsettled(Exception):
    """Neither a share nor a proof that there is none, within the effort."""


@dataclass(frozen=True, slots=True, eq=False)
class Sharers:
    """The technicians and what each of them may visit.

    ``like`` (T,) is the number of the list of tariffs that holds for a technician; ``may`` (units,
    T) whom each unit can be given to, nobody where it is not visited; ``bags`` one each.
    """

    like: IntArray
    may: BoolArray
    bags: tuple[Bag, ...]

    @property
    def visited(self) -> IntArray:
        """Units that somebody visits."""
        return np.flatnonzero(self.may.any(axis=1))


def evened_out(
    sharers: Sharers,
    tariffs: Sequence[Sequence[Tariff]],
    *,
    room_ms: IntArray,
    share: IntArray,
    seed: int,
) -> IntArray | None:
    """A share (units,) by which no tariff exceeds ``room_ms`` (T,), sought from ``share``."""
    rows = [(t, tariff) for t, k in enumerate(sharers.like) for tariff in tariffs[k]]
    found = np.where(sharers.may.any(axis=1), share, -1)
    bags = sharers.bags
    excess = even_out(
        found,
        sharers.may,
        np.flatnonzero(sharers.may.sum(axis=1) > 1),
        room_ms,
        np.array([f.fixed for _, f in rows], dtype=np.int64),
        np.searchsorted([t for t, _ in rows], np.arange(len(bags) + 1)).astype(np.int64),
        np.stack([f.each for _, f in rows], axis=1),
        np.array([f.store for _, f in rows], dtype=np.int64),
        _sets(rows, units=share.size),
        np.array([bag.strokes for bag in bags]),
        (
            np.array([bag.cartridge for bag in bags], dtype=np.int64),
            np.array([bag.left for bag in bags], dtype=np.int64),
            np.array([bag.held for bag in bags], dtype=np.int64),
            np.array([bag.full for bag in bags], dtype=np.int64),
        ),
        STEPS,
        HEAT * float(room_ms.max()),
        np.array([2654435761 * (seed + 1)], dtype=np.uint64),
    )
    return found if excess <= 0 else None


def _sets(
    rows: Sequence[tuple[int, Tariff]], *, units: int
) -> tuple[IntArray, IntArray, IntArray, IntArray, IntArray, IntArray]:
    """Sets of each technician, each once: by unit, and their weights by tariff."""
    number: dict[tuple[int, bytes], int] = {}
    entries: list[tuple[int, int, int]] = []
    for row, (t, tariff) in enumerate(rows):
        for inside, weight in zip(tariff.sets, tariff.weight.tolist(), strict=True):
            k = number.setdefault((t, inside.tobytes()), len(number))
            entries.append((k, row, weight))
    inside = np.frombuffer(b"".join(key for _, key in number), dtype=bool).reshape(-1, units)
    unit, unit_set = np.nonzero(inside.T)
    table = np.array(sorted(entries), dtype=np.int64).reshape(-1, 3)
    every = np.arange(len(number) + 1)
    return (
        np.searchsorted(unit, np.arange(units + 1)).astype(np.int64),
        unit_set.astype(np.int64),
        np.array([t for t, _ in number], dtype=np.int64),
        np.searchsorted(table[:, 0], every).astype(np.int64),
        np.ascontiguousarray(table[:, 1]),
        np.ascontiguousarray(table[:, 2]),
    )
