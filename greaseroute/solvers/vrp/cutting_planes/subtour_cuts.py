"""Sub-tour cuts of a crew: sets of one type's nodes that a flow leaves too seldom."""

import numpy as np

from greaseroute.solvers.arrays import BoolArray, FloatArray
from greaseroute.solvers.min_cut import SEEN, SupportNetwork
from greaseroute.solvers.vrp.cutting_planes.capacity_cuts import CapacityCuts
from greaseroute.solvers.vrp.cutting_planes.giant_tour import GiantTour
from greaseroute.solvers.vrp.cutting_planes.relaxation import Flow, SetCut

VIOLATION = 0.02  # a pair of nodes left less often by this much is worth a row
LEAST_VISIT = 0.05  # a node visited less than this is not looked at
MOST_PAIRS = 60


def find_cuts(tour: GiantTour, flow: Flow, capacity: CapacityCuts | None) -> list[SetCut]:
    """Sets that are left too seldom, the worst of each sort first; empty where none is found.

    Capacity cuts are looked for where ``capacity`` is given.
    """
    visits = flow.visits_of(tour.cluster.size)
    cuts: list[SetCut] = []
    for kind in range(tour.crew.size):
        cuts += _subtours(tour, flow, visits, kind=kind)
    if capacity is not None:
        cuts += capacity.cuts(tour, flow)
    return cuts


def _subtours(tour: GiantTour, flow: Flow, visits: FloatArray, *, kind: int) -> list[SetCut]:
    """Sets of one type's nodes without a depot that are left less often than one of them is."""
    # Each type by itself: its flow enters and leaves each of its nodes.
    used = (flow.value > SEEN) & (tour.type_of[flow.tail] == kind)
    network = _network(tour, flow, used)
    counted = np.where(np.arange(visits.size) < tour.unit_nodes, visits, 0.0)
    found: dict[tuple[bytes, int], SetCut] = {}
    sets = _pairs(network, counted)
    sets += [far for _, far in network.subtours(counted, least=LEAST_VISIT)]
    for inside in sets:
        node = int(np.where(inside, counted, -1.0).argmax())  # the most visited of the set
        found.setdefault((inside.tobytes(), node), SetCut(inside, 0, node))
    return list(found.values())


def _network(tour: GiantTour, flow: Flow, used: BoolArray) -> SupportNetwork:
    """The used nodes of one type; all depots together are the root."""
    tail, head, size = flow.tail[used], flow.head[used], tour.cluster.size
    # Vertices: the nodes that the type's flow uses, depots merged.
    ends = np.unique(np.concatenate([tail, head]))
    ends = ends[ends < size - tour.depots]
    vertex = np.zeros(size, dtype=np.int64)
    vertex[ends] = 1 + np.arange(ends.size)
    return SupportNetwork(vertex, tail=tail, head=head, value=flow.value[used])


def _pairs(network: SupportNetwork, visits: FloatArray) -> list[BoolArray]:
    """Two nodes between which more flows than one of them is visited."""
    a, b, flow = network.edges()
    # Pairs are many and cheap to look at; stores have no visits to compare with.
    violation = flow - np.minimum(visits[a], visits[b])
    violation[(visits[a] == 0) | (visits[b] == 0)] = 0.0
    order = np.argsort(-violation, kind="stable")[:MOST_PAIRS]
    sets = []
    for k in order[violation[order] > VIOLATION]:
        inside = np.zeros(visits.size, dtype=bool)
        inside[[a[k], b[k]]] = True
        sets.append(inside)
    return sets
