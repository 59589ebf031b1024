"""A bound that floating point cannot spoil, from any multipliers whatever.

Multipliers are rounded to whole numbers of a small unit (a power of two). With l for the clusters,
w for the nodes, p >= 0 for the cuts, an arc (i, j) of cost c is worth

    r = c - l(of i) - l(of j) + w(i) - w(j) + sum of p over cuts with the arc in them
        - half the sum of p over cuts that i pays for - the same for j.

A tour's cost is at least 2 sum(l) + sum(p * right side) + the sum of r along it, since no tour
breaks a cut and each node is left as often as entered. As a closed walk through all clusters, the
tour is a spanning tree of clusters and one arc more, which we may take to be its dearest, so that
sum of r is at least the least spanning tree plus that tree's dearest join (Held and Karp 1970).
All of it is added up in 64-bit whole numbers.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from greaseroute.solvers.arrays import FAR, CostArray, FloatArray, IntArray
from greaseroute.solvers.gtsp.bound.kernels import one_tree as kernel
from greaseroute.solvers.gtsp.bound.kernels.one_tree import BINS_PER_OCTAVE
from greaseroute.solvers.gtsp.problem import ClusterProblem

UNIT_BITS = 42  # the upper value in units: fine enough that rounding costs nothing to speak of
LARGEST = 2.0**61  # sums in units below this cannot run over


@dataclass(frozen=True, slots=True)
class NodeCut:
    """Arcs inside ``members`` less visits of ``paid`` are at most minus ``right`` in any tour."""

    members: IntArray
    paid: IntArray
    right: int


@dataclass(frozen=True, slots=True)
class Multipliers:
    """What every row is worth, in cost units; ``pair`` (k,) belongs to node and cluster across.

    A pair is a cut as well: arcs between a node and one other cluster, paid by that node.
    """

    cluster: FloatArray
    node: FloatArray
    pair: FloatArray
    pair_node: IntArray
    pair_cluster: IntArray
    cut: FloatArray
    cuts: Sequence[NodeCut]


@dataclass(frozen=True, slots=True)
class Whole:
    """Multipliers in units of ``1 / scale``, spread over nodes; ``base`` is what they are worth.

    ``leave`` and ``enter`` (n,) are added to arcs out of and into a node, ``pair`` (n, m) to arcs
    between a node and a cluster, ``cut`` to arcs inside the members of each of ``cuts``.
    """

    scale: int
    base: int
    leave: IntArray
    enter: IntArray
    pair: IntArray
    cut: IntArray
    cuts: Sequence[NodeCut]


@dataclass(frozen=True, slots=True)
class Proof:
    """No tour through clusters joined as told costs less than ``units / scale``.

    ``over[c, d]`` is what an arc between the two must cost more than, to lift a tour above that.
    """

    units: int
    scale: int
    over: IntArray

    def bound(self, upper: int) -> int:
        """The least whole cost that is not excluded, at most ``upper``."""
        return min(upper, -(-self.units // self.scale))

    def room(self, upper: int) -> int:
        """Units that a tour cheaper than ``upper`` may cost more than the bound."""
        return (upper - 1) * self.scale - self.units


def whole(problem: ClusterProblem, values: Multipliers, *, upper: int) -> Whole | None:
    """Round the multipliers; None where the sums would not stay exact."""
    scale = 2 ** max(0, UNIT_BITS - max(1, upper).bit_length())
    sizes = [values.cluster, values.node, values.pair, values.cut]
    if not all(np.isfinite(part).all() for part in sizes):
        return None
    most = sum(float(np.abs(part).sum()) for part in sizes) + upper
    if 8.0 * (problem.size + 2) * most * scale > LARGEST:
        return None
    cluster, node = (_units(part, scale) for part in (values.cluster, values.node))
    pair = np.zeros((len(problem.nodes), problem.size), np.int64)
    pair[values.pair_node, values.pair_cluster] = 2 * _units(values.pair / 2, scale)
    cut = 2 * _units(np.maximum(values.cut, 0.0) / 2, scale)
    np.maximum(pair, 0, out=pair)
    share = pair.sum(axis=1)
    for weight, one in zip(cut.tolist(), values.cuts, strict=True):
        share[one.paid] += weight
    own = -cluster[problem.cluster_of] - share // 2
    right = np.array([one.right for one in values.cuts], dtype=np.int64)
    base = 2 * int(cluster.sum()) + int((cut * right).sum())
    cuts = [one for weight, one in zip(cut.tolist(), values.cuts, strict=True) if weight]
    return Whole(scale, base, own + node, own - node, pair, cut[cut > 0], cuts)


def _units(values: FloatArray, scale: int) -> IntArray:
    units: IntArray = np.rint(values * scale).astype(np.int64)
    return units


def prove_all(problem: ClusterProblem, told: Whole, *, upper: int, symmetric: bool) -> Proof:
    """The bound over every arc that costs at most ``upper``."""
    join = np.full((problem.size, problem.size), FAR, np.int64)
    kernel.all_joins(*_tables(problem, told, upper=upper, symmetric=symmetric), join)
    return proof_of(join, told, upper=upper)


def proof_of(join: IntArray, told: Whole, *, upper: int) -> Proof:
    """The bound from the least reduced costs between clusters."""
    over = np.zeros_like(join)
    tree = kernel.whole_tree(join, over)
    units = upper * told.scale if tree == FAR else told.base + tree  # FAR: no tour is left
    return Proof(int(units), told.scale, over)


def arcs_within(
    problem: ClusterProblem, told: Whole, proof: Proof, *, upper: int, symmetric: bool, most: int
) -> tuple[IntArray, IntArray, int]:
    """Arcs that a tour cheaper than ``upper`` can use, and how many there are of them.

    At most ``most`` are listed: where there are more, those of least slack.
    """
    tables = _tables(problem, told, upper=upper, symmetric=symmetric)
    room = max(0, proof.room(upper))
    narrow = min(room, upper * told.scale // problem.size)
    counts, ends = np.zeros(kernel.BINS, np.int64), np.zeros((2, most), np.int64)
    rooms = np.array([room, narrow])
    within = kernel.near_arcs(*tables, proof.over, rooms, counts, ends)
    listed = int(counts.sum())
    if listed < within <= most:
        rooms[1], counts[:] = room, 0
        kernel.near_arcs(*tables, proof.over, rooms, counts, ends)
        listed = within
    elif listed > most:
        octaves = int(np.searchsorted(np.cumsum(counts), most, side="right")) / BINS_PER_OCTAVE
        rooms[1] = max(0, int(2.0**octaves) - 1)
        counts[:] = 0
        kernel.near_arcs(*tables, proof.over, rooms, counts, ends)
        listed = min(most, int(counts.sum()))
    return ends[0, :listed].copy(), ends[1, :listed].copy(), int(within)


def reduced_matrix(problem: ClusterProblem, told: Whole) -> IntArray:
    """(n, n) reduced costs of all arcs, in units; entries inside a cluster mean nothing."""
    reduced: IntArray = problem.cost * told.scale + told.leave[:, None] + told.enter[None, :]
    pair = told.pair[:, problem.cluster_of]
    reduced += pair + pair.T
    for weight, cut in zip(told.cut.tolist(), told.cuts, strict=True):
        reduced[np.ix_(cut.members, cut.members)] += weight
    return reduced


def _reduced(problem: ClusterProblem, told: Whole, arcs: tuple[IntArray, IntArray]) -> IntArray:
    """Reduced costs of these arcs, in units."""
    owner, (tail, head) = problem.cluster_of, arcs
    cost = problem.cost[tail, head].astype(np.int64) * told.scale
    reduced = cost + told.leave[tail] + told.enter[head]
    reduced += told.pair[tail, owner[head]] + told.pair[head, owner[tail]]
    inside = np.zeros(len(problem.nodes), bool)
    for weight, cut in zip(told.cut.tolist(), told.cuts, strict=True):
        inside[cut.members] = True
        reduced += weight * (inside[tail] & inside[head])
        inside[cut.members] = False
    result: IntArray = reduced
    return result


def prove_listed(
    problem: ClusterProblem, told: Whole, arcs: tuple[IntArray, IntArray], *, upper: int
) -> tuple[Proof, IntArray]:
    """The bound for tours of these arcs alone, and what each arc adds to it, in units."""
    owner, (tail, head) = problem.cluster_of, arcs
    reduced = _reduced(problem, told, arcs)
    join = np.full((problem.size, problem.size), FAR, np.int64)
    np.minimum.at(join, (owner[tail], owner[head]), reduced)
    proof = proof_of(np.minimum(join, join.T), told, upper=upper)
    return proof, reduced - proof.over[owner[tail], owner[head]]


class _Tables(NamedTuple):
    """The arguments that the passes over all arcs share, in their order."""

    cost: CostArray
    first: IntArray
    owner: IntArray
    leave: IntArray
    enter: IntArray
    pair: IntArray
    pair_back: IntArray
    cut: IntArray
    cuts_from: IntArray
    cuts_of: IntArray
    node_from: IntArray
    nodes: IntArray
    plan: IntArray


def _tables(problem: ClusterProblem, told: Whole, *, upper: int, symmetric: bool) -> _Tables:
    lengths = [len(cut.members) for cut in told.cuts]
    node_from = np.concatenate([[0], np.cumsum(lengths)]).astype(np.int64)
    nodes = np.concatenate([np.zeros(0, np.int64), *(cut.members for cut in told.cuts)])
    owned = np.repeat(np.arange(len(told.cuts)), lengths)
    order = np.argsort(nodes, kind="stable")
    counts = np.bincount(nodes, minlength=len(problem.nodes))
    cuts_from = np.concatenate([[0], np.cumsum(counts)]).astype(np.int64)
    plan = np.array([told.scale, upper, int(symmetric)])
    return _Tables(
        problem.cost, problem.first, problem.cluster_of, told.leave, told.enter, told.pair,
        np.ascontiguousarray(told.pair.T), told.cut, cuts_from, owned[order].astype(np.int64),
        node_from, nodes.astype(np.int64), plan,
    )  # fmt: skip
