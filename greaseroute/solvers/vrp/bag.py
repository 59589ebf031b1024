"""What the bags mean for a lower bound: cartridges and store visits by kind of technician.

Whoever visits units that take s strokes of a gun kind puts in at least (s - strokes left in the
guns) / (strokes of a cartridge) cartridges, a whole number; a bag gives what it holds at the start
and a full bag more for every store visit.
"""

from dataclasses import dataclass

import numpy as np

from greaseroute.solvers.arrays import IntArray
from greaseroute.solvers.vrp.cutting_planes.giant_tour import Kind, Ring
from greaseroute.solvers.vrp.problem import CrewProblem


@dataclass(frozen=True, slots=True, eq=False)
class Bags:
    """Strokes (nodes, G) at least at each node; per kind cartridges and strokes, all as sums.

    ``cartridge``, ``left`` are (kinds, G), ``held``, ``full`` (kinds,) cartridges at the start and
    in a full bag.
    """

    strokes: IntArray
    cartridge: IntArray
    left: IntArray
    held: IntArray
    full: IntArray


def at_start(problem: CrewProblem) -> tuple[IntArray, IntArray]:
    """Cartridges held (T,) and strokes left in the guns (T, G) at the start."""
    held = problem.bag_cartridges if problem.bag_at_start is None else problem.bag_at_start
    left = problem.gun_left_strokes
    return held, np.zeros_like(problem.cartridge_strokes) if left is None else left


def bags_of(problem: CrewProblem, kinds: list[Kind], ring: Ring) -> Bags:
    """The bags of a ring."""
    heads = [int(kind.points.technician[0]) for kind in kinds]
    held, left = at_start(problem)
    strokes = np.zeros((ring.cluster.size, problem.way_strokes.shape[1]), dtype=np.int64)
    for kind in kinds:
        real = kind.points.way_id >= 0
        ways, node = kind.points.way_id[real], kind.points.way_node[real]
        first = np.flatnonzero(np.diff(node, prepend=-1))
        least = np.minimum.reduceat(problem.way_strokes[ways], first, axis=0)
        strokes[kind.node[node[first]]] = least
    crews = [kind.points.technician for kind in kinds]
    return Bags(
        strokes=strokes,
        cartridge=problem.cartridge_strokes[heads],
        left=np.stack([left[crew].sum(axis=0) for crew in crews]),
        held=np.array([held[crew].sum() for crew in crews], dtype=np.int64),
        full=problem.bag_cartridges[heads],
    )


def may_run_out(problem: CrewProblem, who: IntArray, ways: IntArray) -> bool:
    """Whether some technician's bag might not last for all units, each at its fewest strokes."""
    if not problem.way_strokes.shape[1]:
        return False
    first = np.flatnonzero(np.diff(problem.way_unit[ways], prepend=-1))
    total = np.minimum.reduceat(problem.way_strokes[ways], first, axis=0).sum(axis=0)
    most = np.maximum.reduceat(problem.way_strokes[ways], first, axis=0).sum(axis=0)
    held, left = at_start(problem)
    total = np.maximum(total, most)
    need = -(-np.maximum(0, total - left[who]) // problem.cartridge_strokes[who])
    return bool((need.sum(axis=1) > held[who]).any())
