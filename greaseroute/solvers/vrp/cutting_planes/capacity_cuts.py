"""Loads too large for those who are left: sets of units that a kind of technician must enter."""

from dataclasses import dataclass, field

import numpy as np

from greaseroute.solvers.arrays import FAR, BoolArray, FloatArray, IntArray
from greaseroute.solvers.vrp.cutting_planes.giant_tour import Ring
from greaseroute.solvers.vrp.cutting_planes.kernels.capacity_cuts import Flow as FlowRows
from greaseroute.solvers.vrp.cutting_planes.kernels.capacity_cuts import Groups as GroupRows
from greaseroute.solvers.vrp.cutting_planes.kernels.capacity_cuts import along_walk, heavy_sets
from greaseroute.solvers.vrp.cutting_planes.relaxation import Flow, Need
from greaseroute.solvers.vrp.cutting_planes.safe_bound import Price

BREACH = 0.02  # a set left less often by this much is worth a row
MOST_CUTS = 12  # for each kind, in one round
MOST_SEEDS = 50  # along one walk
MOST_SINGLES, MOST_RESTS = 120, 400  # of single units and of shares, of walks together
MOST_SUMS = 8  # the latest sets of multipliers are kept
TOO_MUCH = int(FAR) // 64  # load of a unit that those who are left cannot visit: sums stay exact


@dataclass(frozen=True, slots=True, eq=False)
class _Sum:
    """What a set of units takes at least of those who are left, weighted by kinds' multipliers.

    Least times of units, groups (masks) and what they add where the set meets them; ``below`` is
    what the units beside it may save; ``room`` is what those who are left have to spend between
    start and finish: all of them together, or where all are alike one of them.
    """

    least: IntArray
    group: BoolArray
    weight: IntArray
    below: int
    room: int


@dataclass(slots=True, eq=False)
class Loads:
    """Which sets of units are too much for all but a few technicians, if the plan is to be beaten.

    ``room_ms`` is the time of each technician, in the order of the ring, in a better plan. The
    others who visit all of a set S spend at least the least reduced costs of S and of their starts,
    and the multiplier of every set of nodes that S meets for sure, since they leave it (the same
    sum that proves the bound for all units, taken over S and the others alone; units beside S
    cannot lower it below that).
    """

    room_ms: IntArray
    sums: dict[int, list[_Sum]] = field(default_factory=dict)

    def learn(self, ring: Ring, price: Price) -> None:
        """Use one more set of multipliers, priced without bags, for each kind left out.

        Where there is but one kind, one technician is left.
        """
        kinds = range(ring.crew.size)
        for out in kinds:
            left = [k for k in kinds if k != out] or [0]
            found = self._sum(ring, price, left, all_of_them=ring.crew.size > 1)
            self.sums[out] = [*self.sums.get(out, []), found][-MOST_SUMS:]

    def _sum(self, ring: Ring, price: Price, left: list[int], *, all_of_them: bool) -> _Sum:
        mine = np.isin(ring.kind, left)
        out = np.where(mine, price.reduced.min(axis=1), FAR)
        least = np.minimum.reduceat(out, ring.first)[: ring.units]
        below = int(np.minimum(least, 0).sum())
        room = self._between_ends(ring, price, out, left=left, all_of_them=all_of_them)
        inside = [need.inside | ~mine for need in price.needs]
        group = [np.logical_and.reduceat(nodes, ring.first)[: ring.units] for nodes in inside]
        least = np.minimum(np.maximum(least, 0), TOO_MUCH)
        masks = np.array(group, dtype=bool).reshape(-1, ring.units)
        return _Sum(least, masks, price.weight, below, room)

    def _between_ends(
        self, ring: Ring, price: Price, out: IntArray, *, left: list[int], all_of_them: bool
    ) -> int:
        """The room less what starts and finishes add at least.

        A round does not end where it began: the multipliers of the two nodes do not cancel out.
        """
        depots = ring.kind[-ring.depots :]
        counted = np.isin(depots, left)
        node = price.node[-ring.depots :]
        starts, finishes = (out[-ring.depots :] + node)[counted], np.roll(node, -1)[counted]
        room = (price.kind[depots] * self.room_ms)[counted]
        if all_of_them:
            return int(room.sum() - starts.sum() + finishes.sum())
        return int(room.max() - starts.min() + finishes.max())

    def needs(self, ring: Ring, flow: Flow) -> list[Need]:
        """Sets of units that a kind leaves too seldom: not once, or, if all are alike, less often
        than technicians are needed."""
        found: list[Need] = []
        for out in range(ring.crew.size):
            if not self.sums.get(out):
                continue
            if ring.crew.size > 1:
                found += self._sets(ring, flow, out, too_few=1, times=1)
            else:
                # of many alike a few counts, or each round would take as long as all before it
                for too_few in sorted({1, ring.depots // 2, ring.depots - 1}):
                    found += self._sets(ring, flow, out, too_few=too_few, times=too_few + 1)
        return found

    def _sets(self, ring: Ring, flow: Flow, out: int, *, too_few: int, times: int) -> list[Need]:
        between, units = _between(ring, flow, out), ring.units
        total = between[:units].sum(axis=1)
        both = _rows(between[:units, :units] + between[:units, :units].T)
        home = between[:units, units:].sum(axis=1) + between[units:, :units].sum(axis=0)
        sums = self.sums[out]
        sets, leaves = heavy_sets(
            both,
            total,
            _seeds(total, both, home),
            np.stack([s.least for s in sums], axis=1),
            _groups(sums),
            np.array([too_few * s.room - s.below for s in sums], dtype=np.int64),
        )
        worst: dict[bytes, Need] = {}
        nobody = np.zeros(ring.clusters - units, dtype=bool)
        for k in np.argsort(leaves, kind="stable"):
            if leaves[k] > times - BREACH or len(worst) >= MOST_CUTS:
                break
            inside = np.concatenate([sets[k], nobody])[ring.cluster] & (ring.kind == out)
            worst.setdefault(sets[k].tobytes(), Need(inside, times, assumed=True))
        return list(worst.values())


def _rows(both: FloatArray) -> FlowRows:
    """A square of flows without what is zero."""
    row, other = np.nonzero(both)
    first = np.searchsorted(row, np.arange(both.shape[0] + 1))
    return first.astype(np.int64), other.astype(np.int64), both[row, other]


def _groups(sums: list[_Sum]) -> GroupRows:
    """The groups of every sum by unit, with their weights and the sums they count in."""
    unit, group = np.nonzero(np.concatenate([s.group for s in sums]).T)
    first = np.searchsorted(unit, np.arange(sums[0].least.size + 1))
    weight = np.concatenate([s.weight for s in sums]).astype(np.int64)
    of = np.repeat(np.arange(len(sums)), [s.weight.size for s in sums]).astype(np.int64)
    return first.astype(np.int64), group.astype(np.int64), weight, of


def _seeds(total: FloatArray, both: FlowRows, home: FloatArray) -> BoolArray:
    """Sets to grow or shrink from: single units, those visited least, all but a walk's first.

    On large sites an even choice of them: each takes a time that grows with the units.
    """
    alone = _few(list(np.eye(total.size, dtype=bool)), MOST_SINGLES)
    shares = _few([total < share for share in np.unique(np.round(total, 2))[1:]], MOST_SINGLES)
    rest = _few(_without_a_walk(both, home), MOST_RESTS)
    return np.array(alone + shares + rest, dtype=bool).reshape(-1, total.size)


def _few(sets: list[BoolArray], most: int) -> list[BoolArray]:
    return sets[:: max(1, -(-len(sets) // most))]


def _without_a_walk(both: FlowRows, home: FloatArray) -> list[BoolArray]:
    """All units but those first reached from the starts, along the strongest flow."""
    found, every = [], max(1, home.size // MOST_SEEDS)
    for first in np.flatnonzero(home > BREACH).tolist():
        rest = np.ones(home.size, dtype=bool)
        for step, unit in enumerate(along_walk(both, home, first)[:-1]):
            rest[unit] = False
            if step % every == 0:
                found.append(rest.copy())
    return found


def _between(ring: Ring, flow: Flow, kind: int) -> FloatArray:
    """Flow of one kind between clusters."""
    between = np.zeros((ring.clusters, ring.clusters))
    mine = ring.kind[flow.tail] == kind
    ends = ring.cluster[flow.tail[mine]], ring.cluster[flow.head[mine]]
    np.add.at(between, ends, flow.value[mine])
    return between
