"""Which units near by are remembered at each unit (ng-route relaxation), and how memory moves on.

A round may come back to a unit only after a visit to another that does not have it in its set. With
sets of all units rounds would be elementary; a few near ones are enough for nearly the same bound.
Sets grow where a round that the master uses comes back too soon.

Sources: Baldacci, Mingozzi and Roberti, New route relaxation and pricing strategies for the vehicle
routing problem, Operations Research 59 (2011) 1269-1283. Roberti and Mingozzi, Dynamic ng-path
relaxation for the delivery man problem, Transportation Science 48 (2014) 413-424.
"""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from greaseroute.solvers.arrays import IntArray

MOST = 16  # units of a set: bits of a mask
Masks = NDArray[np.uint16]


class NgSets:
    """A set for each of n units: the unit itself first, bit k of a mask is the k-th of its set."""

    def __init__(self, apart_ms: IntArray, *, size: int) -> None:
        """Sets of the ``size`` nearest by ``apart_ms`` (n, n)."""
        apart = apart_ms.astype(np.float64)
        np.fill_diagonal(apart, -np.inf)
        self._sets: list[list[int]] = np.argsort(apart, axis=1, kind="stable")[:, :size].tolist()
        self._moves: Masks | None = None

    def allows(self, order: Sequence[int]) -> bool:
        """Whether a round in this order is an ng-route."""
        return not any(True for _ in self._closed(order))

    def forbid(self, order: Sequence[int]) -> bool:
        """Grow sets so that a round is no ng-route; false if it cannot be, or visits none twice."""
        grown = False
        for first, second in _returns(order):
            through = set(order[first + 1 : second])
            lacking = [u for u in through if order[first] not in self._sets[u]]
            # all of them or none: one that forgets would allow the return
            if all(len(self._sets[u]) < MOST for u in lacking):
                for u in sorted(lacking):
                    self._sets[u].append(order[first])
                grown = grown or bool(lacking)
        if grown:
            self._moves = None
        return grown

    def _closed(self, order: Sequence[int]) -> list[tuple[int, int]]:
        """Returns to a unit that every unit between remembers."""
        return [
            (first, second)
            for first, second in _returns(order)
            if all(order[first] in self._sets[u] for u in order[first + 1 : second])
        ]

    @property
    def moves(self) -> Masks:
        """(2, n, n, 256) low and high byte of a mask at one unit, told as a mask at another."""
        if self._moves is None:
            self._moves = self._tables()
        return self._moves

    def _tables(self) -> Masks:
        n = len(self._sets)
        place = np.full((n, n), -1)
        for u, members in enumerate(self._sets):
            place[u, members] = np.arange(len(members))
        moves, byte = np.zeros((2, n, n, 256), dtype=np.uint16), np.arange(256)
        for k in range(MOST):
            has = np.array([len(members) > k for members in self._sets], dtype=bool)
            member = [members[k] if len(members) > k else 0 for members in self._sets]
            # where the k-th of each set stands in every other set
            at = place[:, member].T  # (from, to)
            bit = np.where((at >= 0) & has[:, None], 1 << np.maximum(at, 0), 0)
            on = (byte >> (k % 8)) & 1
            moves[k // 8] |= (bit[:, :, None] * on).astype(np.uint16)
        return moves


def _returns(order: Sequence[int]) -> list[tuple[int, int]]:
    """Positions of a unit and of its next visit in the same round."""
    last: dict[int, int] = {}
    found = []
    for position, unit in enumerate(order):
        if unit in last:
            found.append((last[unit], position))
        last[unit] = position
    return found
