"""What a technician's round takes at least, told for whatever units it visits, in whole numbers.

With potentials of points and weights of sets of nodes, a round through units S takes at least a
fixed time, the least reduced time of each unit of S, the weight of every set that S meets (a round
leaves it), and something for each store visit. Any numbers whatever give a tariff that holds for
every round; those of a linear program give one that is close to the least time of some of them.
"""

from dataclasses import dataclass

import numpy as np

from greaseroute.solvers.arrays import FAR, BoolArray, IntArray
from greaseroute.solvers.vrp.benders.route_points import RoundLegs

MOST_MS = 2**45  # of a unit that the technician cannot leave again; sums stay far from overflow


@dataclass(frozen=True, slots=True, eq=False)
class Tariff:
    """Times in ms: ``fixed``, ``each`` (units,), ``weight`` of ``sets`` (sets, units), ``store``.

    ``store`` is what a store visit adds at least.
    """

    fixed: int
    each: IntArray
    sets: BoolArray
    weight: IntArray
    store: int

    def least_ms(self, units: IntArray, store_visits: int) -> int:
        """What a round through these units takes at least."""
        met = self.sets[:, units].any(axis=1)
        return int(
            self.fixed + self.each[units].sum() + self.weight[met].sum() + self.store * store_visits
        )


@dataclass(frozen=True, slots=True, eq=False)
class Potentials:
    """In ms: of points of entry and the finish, of points of leaving and the start, of sets.

    A leg costs what it takes, plus that of its head, less that of its tail and of sets (sets, n)
    it leaves; a way costs what it takes, less that of its entry, plus that of its leaving.
    """

    entry: IntArray
    leave: IntArray
    sets: BoolArray
    weight: IntArray


def tariff_of(legs: RoundLegs, potentials: Potentials, *, units: int) -> Tariff:
    """The tariff that potentials give.

    Store visits are counted at least, not exactly: what one costs must not be negative, so that
    potentials of stores are lowered until none is.
    """
    entry, n = potentials.entry.copy(), legs.nodes
    first_way = np.flatnonzero(np.diff(legs.way_node, prepend=-1))
    store = np.arange(n) >= legs.real
    while True:
        ways = legs.way_ms - entry[legs.way_in] + potentials.leave[legs.way_out]
        out = _least_out(legs, entry, potentials)
        each = np.minimum.reduceat(ways, first_way) + out[:n]
        short = store & (each < 0)
        if not short.any():
            break
        at = legs.head < n
        entry[at] += np.where(short, each, 0)[legs.head[at]]
    own = np.zeros(units, dtype=np.int64)
    own[legs.unit[: legs.real]] = np.minimum(each[: legs.real], MOST_MS)
    sets = np.zeros((potentials.weight.size, units), dtype=bool)
    sets[:, legs.unit[: legs.real]] = potentials.sets[:, : legs.real]
    visit = int(each[store].min()) if store.any() else 0
    fixed = int(out[n] + potentials.leave[-1] - entry[-1])
    return Tariff(fixed, own, sets, potentials.weight, visit)


def _least_out(legs: RoundLegs, entry: IntArray, potentials: Potentials) -> IntArray:
    """(n + 1,) least reduced leg out of every node and out of the start."""
    n = legs.nodes
    reduced = np.minimum(legs.cost_ms, FAR) + entry[None, :] - potentials.leave[:, None]
    first = [np.flatnonzero(np.diff(node, prepend=-1)) for node in (legs.tail, legs.head)]
    least = np.minimum.reduceat(np.minimum.reduceat(reduced, first[0], axis=0), first[1], axis=1)
    for inside, weight in zip(potentials.sets, potentials.weight, strict=True):
        beyond = np.append(~inside, True)
        least[np.ix_(np.flatnonzero(inside), np.flatnonzero(beyond))] -= weight
    least[np.arange(n), np.arange(n)] = FAR
    out: IntArray = least.min(axis=1)
    return out
