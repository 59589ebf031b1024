"""The best tour inside one unit for every way in and way out, exact; integers only."""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from greaseroute.errors import UnfitProblem
from greaseroute.kernel_cache import cached_njit
from greaseroute.solvers.arrays import FAR, BoolArray, IntArray

# Sets of groups are walked through one by one: 2**16 sets of 20 stands take about 0.1 s. So many
# are meant to be kept to; where that cannot be, up to three more (eight times as long).
GROUPS = 16
MOST_GROUPS = 19


@dataclass(frozen=True, eq=False)
class UnitTour:
    """What there is to do at one unit.

    A node is a stand, or a point to stand clear at while something moves. Groups are sets of
    fittings that are always served together, and events (a posture taken, a slew ring turned).

    Attributes
    ----------
    enter_ms, leave_ms : (S,)
        Time from the node's point on the ground until work begins there, and back to it.
    move_ms : (S, S)
        Time from work at one node to work at another, ``NO_PATH`` where one cannot go. Obeys
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
    cover: BoolArray
    need: BoolArray
    forbid: BoolArray
    extra_ms: IntArray

    @cached_property
    def masks(self) -> tuple[IntArray, IntArray, IntArray]:
        """(S,) sets of groups as bits: covered, needed and forbidden at each node."""
        return _bits(self.cover), _bits(self.need), _bits(self.forbid)

    @cached_property
    def varied(self) -> int:
        """The groups that cost more at some nodes than at others, as bits."""
        return int(_bits(np.atleast_2d((self.extra_ms > 0).any(axis=0)))[0])

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


def _bits(table: BoolArray) -> IntArray:
    weight = np.int64(1) << np.arange(table.shape[1], dtype=np.int64)
    return np.asarray((table * weight).sum(axis=1), dtype=np.int64)


def _filled(tour: UnitTour, starts: Iterable[int]) -> Iterator[IntArray]:
    """Least times after each set of groups at each node, beginning at each of ``starts``.

    One table is filled again and again: it is to be read before the next is asked for.
    """
    stands, groups = tour.cover.shape
    # One table for all starts: 2**16 sets of 20 stands are 10 MB.
    table = np.empty((2**groups, stands), dtype=np.int64)
    # Groups that cost the same everywhere are left out of the inner loop.
    extra = np.ascontiguousarray(tour.extra_ms, dtype=np.int64)
    for start in starts:
        tour_from(start, tour.enter_ms, tour.move_ms, *tour.masks, extra, tour.varied, table)
        yield table


def all_ways(tour: UnitTour) -> list[Way]:
    """The cheapest tour for every pair of first and last node that can serve everything."""
    stands, groups = tour.cover.shape
    ways = []
    for start, table in enumerate(_filled(tour, range(stands))):
        # Everything done, standing at each node; then back to the ground.
        full = table[2**groups - 1]
        ways += [
            Way(start, last, int(full[last] + tour.leave_ms[last]))
            for last in range(stands)
            if full[last] < FAR
        ]
    return ways


def best_ways(
    ways: Sequence[Way], walk_ms: IntArray, *, slack_ms: int = 0
) -> tuple[list[Way], int]:
    """The ways that are worth keeping, and what at most is lost by keeping no others.

    A way from a to b is needless if walking a to a', another way from there, and walking b' to b
    takes no longer: who would come to a and go on from b then never loses by the other way
    (triangle inequality of ``walk_ms`` between the nodes' points on the ground, (S, S), -1 no
    path). With a slack, ways that lose no more than that by it are dropped as well.

    Returns
    -------
    (ways kept, loss in ms)
        Whatever comes before and after, the best of all ways beats the best of those kept by at
        most the loss; 0 without a slack.
    """
    # Cheap ways first: they stand in for costly ones.
    order = sorted(ways, key=lambda w: (w.ms, w.enter, w.leave))
    if not order:
        return [], 0
    excess = _excess_ms(order, walk_ms)
    usable = np.asarray(_few_ends(order, excess, slack_ms=slack_ms))
    # Greedy: each way that would lose too much brings in the way that replaces it best.
    lost = np.full(len(order), FAR)
    kept: set[int] = set()
    for k in range(len(order)):
        if lost[k] > slack_ms:
            stand_in = int(usable[excess[k, usable].argmin()])
            kept.add(stand_in)
            lost = np.minimum(lost, excess[:, stand_in])
    return [order[k] for k in sorted(kept)], int(lost.max())


def _excess_ms(order: Sequence[Way], walk_ms: IntArray) -> IntArray:
    """What at most is lost by taking the way of the column instead of the way of the row."""
    # To go to the stand-in's begin, do it, and walk back to where this way ends.
    enter, leave = (np.asarray([getattr(w, n) for w in order]) for n in ("enter", "leave"))
    cost = np.asarray([w.ms for w in order], dtype=np.int64)
    reach = np.where(walk_ms < 0, FAR // 4, walk_ms)
    instead = reach[np.ix_(enter, enter)] + cost[None, :] + reach[np.ix_(leave, leave)].T
    return np.asarray(np.maximum(instead - cost[:, None], 0), dtype=np.int64)


def _few_ends(order: Sequence[Way], excess: IntArray, *, slack_ms: int) -> list[int]:
    """Ways over few points to begin and end at, of which some stands in for every way.

    Points are given up one by one, those of costly ways first, while the slack allows.
    """
    # Fewer points to begin and end at make the site's problem smaller.
    usable = np.ones(len(order), dtype=bool)
    ends = np.asarray([(way.enter, way.leave) for way in order])
    for end in dict.fromkeys(ends[::-1].ravel().tolist()):
        without = usable & (ends != end).all(axis=1)
        if without.any() and excess[:, without].min(axis=1).max() <= slack_ms:
            usable = without
    return [int(k) for k in np.flatnonzero(usable)]


def nodes_of(tour: UnitTour, way: Way) -> list[int]:
    """The nodes of a way in order, one of the cheapest sequences."""
    return next(sequences(tour, [way]))


def sequences(tour: UnitTour, ways: Sequence[Way]) -> Iterator[list[int]]:
    """The nodes of each way in order: of ways that begin at one node the table is filled once."""
    table, start = np.empty((0, 0), dtype=np.int64), -1
    for way in ways:
        if way.enter != start:
            table, start = next(_filled(tour, [way.enter])), way.enter
        yield _sequence(tour, table, way)


def _sequence(tour: UnitTour, table: IntArray, way: Way) -> list[int]:
    # Backwards from everything done at the last node to the first.
    begin = (int(tour.masks[0][way.enter]), way.enter)
    state = (2 ** tour.cover.shape[1] - 1, way.leave)
    nodes = [way.leave]
    while state != begin:
        state = _before(tour, table, done=state[0], last=state[1])
        nodes.append(state[1])
    return nodes[::-1]


def _before(tour: UnitTour, table: IntArray, *, done: int, last: int) -> tuple[int, int]:
    """The state from which the cheapest tour came to (``done``, ``last``)."""
    cover, need, forbid = (int(mask[last]) for mask in tour.masks)
    step = tour.move_ms[:, last]
    # All sets that may have been done before: done less a part of what the last node serves.
    part = fresh = cover & done
    while part:
        was = done & ~part
        if need & was == need and not forbid & was:
            extra = _extra_ms(tour, part & tour.varied, at=last)
            came = (
                (step >= 0) & (table[was] < FAR) & (table[was] + step + extra == table[done, last])
            )
            if came.any():
                return was, int(came.argmax())
        part = (part - 1) & fresh
    raise AssertionError("a tour without a beginning")


def _extra_ms(tour: UnitTour, groups: int, *, at: int) -> int:
    """What a set of groups, as bits, costs at a node above its least."""
    if not groups:
        return 0
    costs = tour.extra_ms[at].tolist()
    return sum(cost for g, cost in enumerate(costs) if groups >> g & 1)


@cached_njit
def tour_from(
    start: int, enter: IntArray, move: IntArray, cover: IntArray, need: IntArray, forbid: IntArray,
    extra: IntArray, varied: int, table: IntArray,
) -> None:  # fmt: skip
    """Fill ``table[done, last]`` with the least time after serving ``done``, standing at ``last``.

    ``done`` is the set of groups served, as bits; sets only grow, so one ascending pass is a
    topological order. A stand is entered only if it adds a group (moves obey the triangle
    inequality), if all of its ``need`` is done and nothing of its ``forbid``. ``extra[s, g]`` is
    the time that group g costs at stand s above its least, for the groups in ``varied``.
    """
    sets, stands = table.shape
    # The first node: entered only if nothing must be done before it.
    table[:, :] = FAR
    if need[start] != 0:
        return
    first = enter[start]
    for g in range(extra.shape[1]):
        if cover[start] & varied & (1 << g):
            first += extra[start, g]
    table[cover[start], start] = first
    # Sets only grow, so each is final when it is reached.
    for done in range(sets):
        for last in range(stands):
            now = table[done, last]
            if now == FAR:
                continue
            for s in range(stands):
                # Only to a node that adds a group, all it needs done, nothing it forbids.
                fresh = cover[s] & ~done
                if fresh == 0 or move[last, s] < 0:
                    continue
                if (need[s] & done) != need[s] or (forbid[s] & done) != 0:
                    continue
                then = now + move[last, s]
                if fresh & varied:
                    for g in range(extra.shape[1]):
                        if fresh & varied & (1 << g):
                            then += extra[s, g]
                if then < table[done | fresh, s]:
                    table[done | fresh, s] = then
