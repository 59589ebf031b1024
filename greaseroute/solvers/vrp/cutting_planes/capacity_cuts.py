"""Capacity (k-path) cuts: unit sets that the other technicians cannot serve before the aim.

If the sets' work is too much for the others in the time they have, the type left out must enter
the set at least once. Where all technicians are of one type, a set too much for k of them must be
left k + 1 times.
"""

from dataclasses import dataclass, field

import numpy as np

from greaseroute.solvers.arrays import FAR, BoolArray, FloatArray, IntArray
from greaseroute.solvers.vrp.cutting_planes.giant_tour import GiantTour
from greaseroute.solvers.vrp.cutting_planes.kernels.capacity_cuts import (
    FlowRows,
    GroupRows,
    along_walk,
    heavy_sets,
)
from greaseroute.solvers.vrp.cutting_planes.relaxation import Flow, SetCut
from greaseroute.solvers.vrp.cutting_planes.safe_bound import PricedBound

VIOLATION = 0.02  # a set left less often by this much is worth a row
MOST_CUTS = 12  # for each type, in one round
MOST_SEEDS = 50  # along one walk
MOST_SINGLES, MOST_RESTS = 120, 400  # seeds of single units and of parts, of walks together
MOST_LOADS = 8  # the latest sets of duals are kept
TOO_MUCH = int(FAR) // 64  # load of a unit that the others cannot visit: sums stay exact


@dataclass(frozen=True, slots=True, eq=False)
class Load:
    """What a set of units takes at least of the others, weighted by the duals of their types.

    Attributes
    ----------
    least : (units,)
        Least weighted time of each unit.
    group, weight : (q, units) bool, (q,)
        Sets of units, and what each adds where the set met enters it.
    negative_part : int
        What the units outside the set may save at most.
    slack : int
        What the others have to spend between start and finish: all of them together, or one of
        them where all technicians are of one type.
    """

    least: IntArray
    group: BoolArray
    weight: IntArray
    negative_part: int
    slack: int


@dataclass(slots=True, eq=False)
class CapacityCuts:
    """Which sets of units are too much for all but a few technicians, if the plan is to be beaten.

    The others who visit all of a set S spend at least the least reduced costs of S and of their
    starts, and the dual of every set of nodes that S meets for sure, since they leave it: the same
    sum that proves the bound for all units, taken over S and the others alone; units outside S
    cannot lower it below their negative part.

    Attributes
    ----------
    time_ms : (T,)
        Time of each technician, in the order of the giant tour, in a better plan.
    loads : dict
        By the type left out, one ``Load`` for each set of duals.
    """

    time_ms: IntArray
    loads: dict[int, list[Load]] = field(default_factory=dict)

    def add(self, tour: GiantTour, price: PricedBound) -> None:
        """Use one more set of duals, priced without bags, for each type left out.

        Where there is but one type, one technician is left.
        """
        types = range(tour.crew.size)
        for out in types:
            others = [k for k in types if k != out] or [0]
            found = self._load(tour, price, others, together=tour.crew.size > 1)
            self.loads[out] = [*self.loads.get(out, []), found][-MOST_LOADS:]

    def _load(
        self, tour: GiantTour, price: PricedBound, others: list[int], *, together: bool
    ) -> Load:
        mine = np.isin(tour.type_of, others)
        # Least reduced cost of each unit by one of the others; FAR where none of them can visit.
        out = np.where(mine, price.reduced.min(axis=1), FAR)
        least = np.minimum.reduceat(out, tour.first)[: tour.units]
        negative = int(np.minimum(least, 0).sum())
        slack = self._slack(tour, price, out, others=others, together=together)
        # A set of nodes is met for sure by a unit all of whose nodes of the others lie in it.
        inside = [cut.inside | ~mine for cut in price.cuts]
        group = [np.logical_and.reduceat(nodes, tour.first)[: tour.units] for nodes in inside]
        least = np.minimum(np.maximum(least, 0), TOO_MUCH)
        masks = np.array(group, dtype=bool).reshape(-1, tour.units)
        return Load(least, masks, price.cut_dual, negative, slack)

    def _slack(
        self,
        tour: GiantTour,
        price: PricedBound,
        out: IntArray,
        *,
        others: list[int],
        together: bool,
    ) -> int:
        """The others' weighted time less what starts and finishes add at least.

        A round does not end where it began: the duals of the two depots do not cancel out.
        """
        # Depots stand last, in the order of the technicians.
        depots = tour.type_of[-tour.depots :]
        counted = np.isin(depots, others)
        node = price.node[-tour.depots :]
        starts, finishes = (out[-tour.depots :] + node)[counted], np.roll(node, -1)[counted]
        time = (price.weight[depots] * self.time_ms)[counted]
        if together:
            return int(time.sum() - starts.sum() + finishes.sum())
        return int(time.max() - starts.min() + finishes.max())

    def cuts(self, tour: GiantTour, flow: Flow) -> list[SetCut]:
        """Violated cuts: sets that a type does not enter, or, if all are of one type, leaves less
        often than technicians are needed."""
        found: list[SetCut] = []
        for out in range(tour.crew.size):
            if not self.loads.get(out):
                continue
            if tour.crew.size > 1:
                found += self._violated(tour, flow, out, too_few=1, times=1)
            else:
                # of many numbers a few are tried, or each round would take as long as all before
                for too_few in sorted({1, tour.depots // 2, tour.depots - 1}):
                    found += self._violated(tour, flow, out, too_few=too_few, times=too_few + 1)
        return found

    def _violated(
        self, tour: GiantTour, flow: Flow, out: int, *, too_few: int, times: int
    ) -> list[SetCut]:
        """Sets too heavy for ``too_few`` technicians that the type leaves less than ``times``."""
        # Flow of the type among units, and between units and everything else.
        between, units = _between(tour, flow, out), tour.units
        total = between[:units].sum(axis=1)
        both = _rows(between[:units, :units] + between[:units, :units].T)
        home = between[:units, units:].sum(axis=1) + between[units:, :units].sum(axis=0)
        loads = self.loads[out]
        sets, leaves = heavy_sets(
            both,
            total,
            _seeds(total, both, home),
            np.stack([one.least for one in loads], axis=1),
            _groups(loads),
            np.array([too_few * one.slack - one.negative_part for one in loads], dtype=np.int64),
        )
        # The sets left least often, each once.
        worst: dict[bytes, SetCut] = {}
        nobody = np.zeros(tour.clusters - units, dtype=bool)
        for k in np.argsort(leaves, kind="stable"):
            if leaves[k] > times - VIOLATION or len(worst) >= MOST_CUTS:
                break
            inside = np.concatenate([sets[k], nobody])[tour.cluster] & (tour.type_of == out)
            worst.setdefault(sets[k].tobytes(), SetCut(inside, times, assumed=True))
        return list(worst.values())


def _rows(both: FloatArray) -> FlowRows:
    """A square of flows without what is zero."""
    row, other = np.nonzero(both)
    first = np.searchsorted(row, np.arange(both.shape[0] + 1))
    return first.astype(np.int64), other.astype(np.int64), both[row, other]


def _groups(loads: list[Load]) -> GroupRows:
    """The groups of every load by unit, with their weights and the loads they count in."""
    unit, group = np.nonzero(np.concatenate([one.group for one in loads]).T)
    first = np.searchsorted(unit, np.arange(loads[0].least.size + 1))
    weight = np.concatenate([one.weight for one in loads]).astype(np.int64)
    of = np.repeat(np.arange(len(loads)), [one.weight.size for one in loads]).astype(np.int64)
    return first.astype(np.int64), group.astype(np.int64), weight, of


def _seeds(total: FloatArray, both: FlowRows, home: FloatArray) -> BoolArray:
    """Sets to grow or shrink from: single units, those visited least, all but a walk's first.

    On large sites an even choice of them: each takes a time that grows with the units.
    """
    # Three sorts of seeds: sets grow from units, shrink from parts and from rests.
    alone = _few(list(np.eye(total.size, dtype=bool)), MOST_SINGLES)
    parts = _few([total < part for part in np.unique(np.round(total, 2))[1:]], MOST_SINGLES)
    rest = _few(_without_a_walk(both, home), MOST_RESTS)
    return np.array(alone + parts + rest, dtype=bool).reshape(-1, total.size)


def _few(sets: list[BoolArray], most: int) -> list[BoolArray]:
    return sets[:: max(1, -(-len(sets) // most))]


def _without_a_walk(both: FlowRows, home: FloatArray) -> list[BoolArray]:
    """All units but those first reached from the starts, along the strongest flow."""
    found, every = [], max(1, home.size // MOST_SEEDS)
    for first in np.flatnonzero(home > VIOLATION).tolist():
        # What is left when one technician has walked on and on from a unit near the start.
        rest = np.ones(home.size, dtype=bool)
        for step, unit in enumerate(along_walk(both, home, first)[:-1]):
            rest[unit] = False
            if step % every == 0:
                found.append(rest.copy())
    return found


def _between(tour: GiantTour, flow: Flow, kind: int) -> FloatArray:
    """(clusters, clusters) flow of one type between clusters."""
    between = np.zeros((tour.clusters, tour.clusters))
    mine = tour.type_of[flow.tail] == kind
    ends = tour.cluster[flow.tail[mine]], tour.cluster[flow.head[mine]]
    np.add.at(between, ends, flow.value[mine])
    return between
