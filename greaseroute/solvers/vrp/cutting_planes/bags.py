"""What the bags mean for the crew's linear program: strokes of nodes, cartridges of types."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from greaseroute.solvers.arrays import IntArray
from greaseroute.solvers.vrp.bag import at_start
from greaseroute.solvers.vrp.cutting_planes.giant_tour import GiantTour, TechnicianType
from greaseroute.solvers.vrp.problem import CrewProblem


@dataclass(frozen=True, slots=True, eq=False)
class Bags:
    """The bags of all technicians, summed by type.

    Attributes
    ----------
    strokes : (N, G)
        At least at each node.
    cartridge, left : (types, G)
        Strokes of a cartridge; strokes left in the guns at the start.
    held, full : (types,)
        Cartridges at the start; in one full bag.
    """

    strokes: IntArray
    cartridge: IntArray
    left: IntArray
    held: IntArray
    full: IntArray


def bags_of(problem: CrewProblem, types: Sequence[TechnicianType], tour: GiantTour) -> Bags:
    """The bags of a giant tour."""
    heads = [int(one.points.technician[0]) for one in types]
    held, left = at_start(problem)
    strokes = np.zeros((tour.cluster.size, problem.way_strokes.shape[1]), dtype=np.int64)
    for one in types:
        # Least strokes over the ways of each node; stores take none.
        real = one.points.way_id >= 0
        ways, node = one.points.way_id[real], one.points.way_node[real]
        first = np.flatnonzero(np.diff(node, prepend=-1))
        least = np.minimum.reduceat(problem.way_strokes[ways], first, axis=0)
        strokes[one.node[node[first]]] = least
    # Sums over the technicians of each type; what they share is taken from the first.
    crews = [one.points.technician for one in types]
    return Bags(
        strokes=strokes,
        cartridge=problem.cartridge_strokes[heads],
        left=np.stack([left[crew].sum(axis=0) for crew in crews]),
        held=np.array([held[crew].sum() for crew in crews], dtype=np.int64),
        full=problem.bag_cartridges[heads],
    )
