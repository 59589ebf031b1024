"""The best tour inside one unit for every way in and way out, exact; integers only."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from greaseroute.errors import UnfitProblem
from greaseroute.rounds.kernel_unit import NEVER, tour_from

IntArray = NDArray[np.int64]

NO_MOVE = -1
# Sets of groups are walked through one by one: 2**16 sets of 20 stands take about 0.1 s.
MOST_GROUPS = 16


@dataclass(frozen=True, slots=True, eq=False)
class UnitTour:
    """What there is to do at one unit.

    A node is a stand, or a point to stand clear at while something moves. Groups are sets of
    fittings that are always served together, and events (a posture taken, a slew ring turned).

    Attributes
    ----------
    enter_ms, leave_ms : (S,)
        Time from the node's point on the ground until work begins there, and back to it.
    move_ms : (S, S)
        Time from work at one node to work at another, ``NO_MOVE`` where one cannot go. Obeys
        the triangle inequality.
    cover : (S, G) bool
        Groups served at a node: all that are left when one gets there.
    need, forbid : (S, G) bool
        Groups that must all be done, must all be open, when one gets there.
    extra_ms : (S, G)
        What a group costs at a node above its least.
    """

    enter_ms: IntArray
    leave_ms: IntArray
    move_ms: IntArray
    cover: NDArray[np.bool_]
    need: NDArray[np.bool_]
    forbid: NDArray[np.bool_]
    extra_ms: IntArray

    def __post_init__(self) -> None:
        """Refuse more groups than can be walked through; raises UnfitProblem."""
        if self.cover.shape[1] > MOST_GROUPS:
            raise UnfitProblem(
                "unit tour",
                f"{self.cover.shape[1]} groups of fittings",
                limit=f"at most {MOST_GROUPS}",
                next_step="keep fewer stands, so that more fittings fall into one group",
            )


@dataclass(frozen=True, slots=True)
class Way:
    """The cheapest tour from first node ``enter`` to last node ``leave``; ``ms`` all in."""

    enter: int
    leave: int
    ms: int


def _bits(table: NDArray[np.bool_]) -> IntArray:
    weight = np.int64(1) << np.arange(table.shape[1], dtype=np.int64)
    return np.asarray((table * weight).sum(axis=1), dtype=np.int64)


def _filled(tour: UnitTour, start: int) -> IntArray:
    """Least times after each set of groups at each node, beginning at ``start``."""
    stands, groups = tour.cover.shape
    table = np.empty((2**groups, stands), dtype=np.int64)
    varied = _bits((tour.extra_ms > 0).any(axis=0, keepdims=True))[0]
    extra = np.ascontiguousarray(tour.extra_ms, dtype=np.int64)
    masks = (_bits(tour.cover), _bits(tour.need), _bits(tour.forbid))
    tour_from(start, tour.enter_ms, tour.move_ms, *masks, extra, varied, table)
    return table


def all_ways(tour: UnitTour) -> list[Way]:
    """The cheapest tour for every pair of first and last node that can serve everything."""
    stands, groups = tour.cover.shape
    ways = []
    for start in range(stands):
        full = _filled(tour, start)[2**groups - 1]
        ways += [
            Way(start, last, int(full[last] + tour.leave_ms[last]))
            for last in range(stands)
            if full[last] < NEVER
        ]
    return ways


def best_ways(ways: Sequence[Way], walk_ms: IntArray) -> list[Way]:
    """Those ways that no other makes needless, whatever comes before and after.

    A way from a to b is needless if walking a to a', that other way, and walking b' to b takes no
    longer: who would come to a and go on from b then never loses by the other way (triangle
    inequality of ``walk_ms`` between the nodes' points on the ground, (S, S), -1 no path).
    """
    if not ways:
        return []
    enter = np.asarray([w.enter for w in ways])
    leave = np.asarray([w.leave for w in ways])
    cost = np.asarray([w.ms for w in ways], dtype=np.int64)
    reach = np.where(walk_ms < 0, NEVER // 4, walk_ms)
    instead = reach[np.ix_(enter, enter)] + cost[None, :] + reach[np.ix_(leave, leave)].T
    better = instead < cost[:, None]
    same = (instead == cost[:, None]) & (
        np.arange(len(ways))[None, :] < np.arange(len(ways))[:, None]
    )
    np.fill_diagonal(better, False)
    return _not_beaten(ways, better, same)


def _not_beaten(
    ways: Sequence[Way], better: NDArray[np.bool_], same: NDArray[np.bool_]
) -> list[Way]:
    """Ways neither beaten nor equalled by an earlier one (both relations are transitive)."""
    return [w for w, out in zip(ways, (better | same).any(axis=1), strict=True) if not out]


def nodes_of(tour: UnitTour, way: Way) -> list[int]:
    """The nodes of a way in order, one of the cheapest sequences."""
    table = _filled(tour, way.enter)
    begin = (int(_bits(tour.cover)[way.enter]), way.enter)
    state = (2 ** tour.cover.shape[1] - 1, way.leave)
    nodes = [way.leave]
    while state != begin:
        state = _before(tour, table, done=state[0], last=state[1])
        nodes.append(state[1])
    return nodes[::-1]


def _before(tour: UnitTour, table: IntArray, *, done: int, last: int) -> tuple[int, int]:
    """The state from which the cheapest tour came to (``done``, ``last``)."""
    cover, need, forbid = (int(_bits(m)[last]) for m in (tour.cover, tour.need, tour.forbid))
    step = tour.move_ms[:, last]
    part = fresh = cover & done
    while part:
        was = done & ~part
        if need & was == need and not forbid & was:
            extra = sum(
                int(tour.extra_ms[last, g])
                for g in range(len(tour.extra_ms[last]))
                if part >> g & 1
            )
            came = (
                (step >= 0)
                & (table[was] < NEVER)
                & (table[was] + step + extra == table[done, last])
            )
            if came.any():
                return was, int(came.argmax())
        part = (part - 1) & fresh
    raise AssertionError("a tour without a beginning")
