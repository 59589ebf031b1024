"""Benders optimality cut: a lower bound on one technician's route time by the units assigned.

With potentials of points and weights of sets of nodes, a route through units S takes at least a
fixed time, the least reduced time of each unit of S, the weight of every set that S meets (a route
leaves it), and something for each store visit. Any numbers whatever give a cut that holds for every
route; those of a linear program give one that is close to the least time of some of them.
"""

from dataclasses import dataclass

import numpy as np

from greaseroute.solvers.arrays import FAR, BoolArray, IntArray
from greaseroute.solvers.vrp.benders.route_points import RouteLegs

MOST_MS = 2**45  # of a unit that the technician cannot leave again: sums stay exact in the master


@dataclass(frozen=True, slots=True, eq=False)
class OptimalityCut:
    """Route time (ms) is at least ``fixed`` plus ``each`` of its units plus ``weight`` of sets met.

    Attributes
    ----------
    fixed, store : int
        Of any route; of each store visit.
    each : (units,)
        Of each unit.
    sets, weight : (q, units) bool, (q,)
        Sets of units and what meeting one adds.
    """

    fixed: int
    each: IntArray
    sets: BoolArray
    weight: IntArray
    store: int

    def least_ms(self, units: IntArray, store_visits: int) -> int:
        """What a route through these units takes at least."""
        # A set counts once, however many of its units are visited.
        met = self.sets[:, units].any(axis=1)
        return int(
            self.fixed + self.each[units].sum() + self.weight[met].sum() + self.store * store_visits
        )


@dataclass(frozen=True, slots=True, eq=False)
class Potentials:
    """Duals in ms, as whole numbers.

    A leg costs what it takes, plus the potential of its head, less that of its tail and of sets it
    leaves; a way costs what it takes, less that of its entry, plus that of its leaving.

    Attributes
    ----------
    entry, leave : (I + 1,), (O + 1,)
        Of points of entry and the finish, of points of leaving and the start.
    sets, weight : (q, n) bool, (q,)
        Sets of nodes and their duals.
    """

    entry: IntArray
    leave: IntArray
    sets: BoolArray
    weight: IntArray


def cut_of(legs: RouteLegs, potentials: Potentials, *, units: int) -> OptimalityCut:
    """The cut that potentials give, for so many units.

    Store visits are counted at least, not exactly: what one costs must not be negative, so that
    potentials of stores are lowered until none is.
    """
    entry, n = potentials.entry.copy(), legs.nodes
    first_way = np.flatnonzero(np.diff(legs.way_node, prepend=-1))
    store = np.arange(n) >= legs.real
    while True:
        # Least reduced time of each node: its way, and the leg out of it.
        ways = legs.way_ms - entry[legs.way_in] + potentials.leave[legs.way_out]
        out = _least_out(legs, entry, potentials)
        each = np.minimum.reduceat(ways, first_way) + out[:n]
        short = store & (each < 0)
        if not short.any():
            break
        # Lower the potentials of stores, which makes the legs into them cheaper.
        at = legs.head < n
        entry[at] += np.where(short, each, 0)[legs.head[at]]
    # From nodes to units of the problem; those without a way are nobody's here.
    own = np.zeros(units, dtype=np.int64)
    own[legs.unit[: legs.real]] = np.minimum(each[: legs.real], MOST_MS)
    sets = np.zeros((potentials.weight.size, units), dtype=bool)
    sets[:, legs.unit[: legs.real]] = potentials.sets[:, : legs.real]
    visit = int(each[store].min()) if store.any() else 0
    fixed = int(out[n] + potentials.leave[-1] - entry[-1])
    return OptimalityCut(fixed, own, sets, potentials.weight, visit)


def _least_out(legs: RouteLegs, entry: IntArray, potentials: Potentials) -> IntArray:
    """(n + 1,) least reduced leg out of every node and out of the start."""
    n = legs.nodes
    # Least leg between nodes; legs out of a set pay its weight.
    reduced = np.minimum(legs.cost_ms, FAR) + entry[None, :] - potentials.leave[:, None]
    least = legs.least_between(reduced)
    for inside, weight in zip(potentials.sets, potentials.weight, strict=True):
        beyond = np.append(~inside, True)
        least[np.ix_(np.flatnonzero(inside), np.flatnonzero(beyond))] -= weight
    least[np.arange(n), np.arange(n)] = FAR
    out: IntArray = least.min(axis=1)
    return out
