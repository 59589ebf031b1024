"""A bound that floating point cannot spoil, from any duals whatever.

Duals are rounded to whole numbers of a small unit (a power of two). With l for the clusters, w for
the nodes and p >= 0 for the cuts, an arc (i, j) of cost c has the reduced cost

    r = c - l(of i) - l(of j) + w(i) - w(j) + sum of p over cuts with the arc in them
        - half the sum of p over cuts that i pays for - the same for j.

A tour costs at least 2 sum(l) + sum(p * right side) + the sum of r along it, since no tour violates
a cut and each node is left as often as entered. As a closed walk through all clusters, the tour is
a spanning tree of clusters and one arc more, which we may take to be its longest. So the sum of r
is at least the least spanning tree plus that tree's longest edge (Held and Karp 1970). All of it is
added up in 64-bit whole numbers.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from greaseroute.solvers.arrays import FAR, CostArray, FloatArray, IntArray
from greaseroute.solvers.gtsp.bound.kernels import one_tree as kernel
from greaseroute.solvers.gtsp.bound.kernels.one_tree import BINS_PER_OCTAVE
from greaseroute.solvers.gtsp.problem import GtspProblem

UNIT_BITS = 42  # the upper value in units: fine enough that rounding costs nothing to speak of
LARGEST = 2.0**61  # sums in units stay below this, single reduced costs far below FAR


@dataclass(frozen=True, slots=True)
class NodeCut:
    """Arcs inside ``members`` less visits of ``paid`` are at most minus ``right`` in any tour."""

    members: IntArray
    paid: IntArray
    right: int


@dataclass(frozen=True, slots=True)
class Duals:
    """Duals of all rows, in units of cost.

    Attributes
    ----------
    cluster, node : (m,), (n,)
        Of one visit in each cluster; of leaving a node as often as entering it.
    pair, pair_node, pair_cluster : (k,)
        Of pair cuts: arcs between a node and one other cluster, paid by that node.
    cut : (q,)
        Of ``cuts``, any other cuts.
    """

    cluster: FloatArray
    node: FloatArray
    pair: FloatArray
    pair_node: IntArray
    pair_cluster: IntArray
    cut: FloatArray
    cuts: Sequence[NodeCut]


@dataclass(frozen=True, slots=True)
class IntegerDuals:
    """Duals in units of ``1 / scale``, spread over nodes; ``base`` is the sum of right sides.

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
class SafeBound:
    """No tour costs less than ``units / scale``.

    ``bottleneck`` (m, m) is the longest edge on the path between two clusters in the least spanning
    tree: an arc between them must have a larger reduced cost to lift a tour above the bound.
    """

    units: int
    scale: int
    bottleneck: IntArray

    def bound(self, upper: int) -> int:
        """The least whole cost that is not excluded, at most ``upper``."""
        return min(upper, -(-self.units // self.scale))

    def slack(self, upper: int) -> int:
        """Units that a tour cheaper than ``upper`` may cost more than the bound."""
        return (upper - 1) * self.scale - self.units


def integer_duals(problem: GtspProblem, duals: Duals, *, upper: int) -> IntegerDuals | None:
    """Round the duals; None where the sums would not stay exact."""
    # A power of two, so that rounding back and forth is exact.
    scale = 2 ** max(0, UNIT_BITS - max(1, upper).bit_length())
    if not _fits(problem, duals, upper=upper, scale=scale):
        return None
    cluster, node = (_units(part, scale) for part in (duals.cluster, duals.node))
    pair = np.zeros((len(problem.nodes), problem.size), np.int64)
    pair[duals.pair_node, duals.pair_cluster] = 2 * _units(duals.pair / 2, scale)
    np.maximum(pair, 0, out=pair)
    # Half of what a node pays is taken off its arcs out, half off its arcs in: hence even numbers.
    cut = 2 * _units(np.maximum(duals.cut, 0.0) / 2, scale)
    paid = pair.sum(axis=1)
    for weight, one in zip(cut.tolist(), duals.cuts, strict=True):
        paid[one.paid] += weight
    own = -cluster[problem.cluster_of] - paid // 2
    # What the right sides are worth, apart from the arcs.
    right = np.array([one.right for one in duals.cuts], dtype=np.int64)
    base = 2 * int(cluster.sum()) + int((cut * right).sum())
    cuts = [one for weight, one in zip(cut.tolist(), duals.cuts, strict=True) if weight]
    return IntegerDuals(scale, base, own + node, own - node, pair, cut[cut > 0], cuts)


def _fits(problem: GtspProblem, duals: Duals, *, upper: int, scale: int) -> bool:
    """Whether no sum of reduced costs along a tour can overflow."""
    parts = [duals.cluster, duals.node, duals.pair, duals.cut]
    if not all(np.isfinite(part).all() for part in parts):
        return False
    most = sum(float(np.abs(part).sum()) for part in parts) + upper
    return 8.0 * (problem.size + 2) * most * scale <= LARGEST


def _units(values: FloatArray, scale: int) -> IntArray:
    units: IntArray = np.rint(values * scale).astype(np.int64)
    return units


def safe_bound_all(
    problem: GtspProblem, duals: IntegerDuals, *, upper: int, symmetric: bool
) -> SafeBound:
    """The bound over every arc that costs at most ``upper``."""
    joins = np.full((problem.size, problem.size), FAR, np.int64)
    kernel.all_joins(*_arc_pass(problem, duals, upper=upper, symmetric=symmetric), joins)
    return _bound_of(joins, duals, upper=upper)


def safe_bound_listed(
    problem: GtspProblem, duals: IntegerDuals, arcs: tuple[IntArray, IntArray], *, upper: int
) -> tuple[SafeBound, IntArray]:
    """The bound for tours of these arcs alone, and how far each arc lies above it, in units."""
    owner, (tail, head) = problem.cluster_of, arcs
    # Least reduced cost between each two clusters, over the listed arcs alone.
    reduced = _reduced_costs(problem, duals, arcs)
    joins = np.full((problem.size, problem.size), FAR, np.int64)
    np.minimum.at(joins, (owner[tail], owner[head]), reduced)
    found = _bound_of(np.minimum(joins, joins.T), duals, upper=upper)
    return found, reduced - found.bottleneck[owner[tail], owner[head]]


def _bound_of(joins: IntArray, duals: IntegerDuals, *, upper: int) -> SafeBound:
    """The bound from the least reduced costs between clusters."""
    bottleneck = np.zeros_like(joins)
    spans, tree = kernel.spanning_tree(joins, bottleneck)
    units = duals.base + tree if spans else upper * duals.scale  # no tour is left
    return SafeBound(int(units), duals.scale, bottleneck)


def arcs_within(
    problem: GtspProblem,
    duals: IntegerDuals,
    proof: SafeBound,
    *,
    upper: int,
    symmetric: bool,
    most: int,
) -> tuple[IntArray, IntArray, int]:
    """Arcs that a tour cheaper than ``upper`` can use, and how many there are of them.

    At most ``most`` are listed: where there are more, those of least slack.
    """
    arguments = _arc_pass(problem, duals, upper=upper, symmetric=symmetric)
    slack = max(0, proof.slack(upper))
    narrow = min(slack, upper * duals.scale // problem.size)
    counts, ends = np.zeros(kernel.BINS, np.int64), np.zeros((2, most), np.int64)
    limits = np.array([slack, narrow])
    # First pass: all are counted, and those of small slack are listed.
    within = kernel.near_arcs(*arguments, proof.bottleneck, limits, counts, ends)
    listed = int(counts.sum())
    # Second pass with a better limit: all of them if they fit, else as many octaves as fit.
    if listed < within <= most:
        limits[1], counts[:] = slack, 0
        kernel.near_arcs(*arguments, proof.bottleneck, limits, counts, ends)
        listed = within
    elif listed > most:
        octaves = int(np.searchsorted(np.cumsum(counts), most, side="right")) / BINS_PER_OCTAVE
        limits[1] = max(0, int(2.0**octaves) - 1)
        counts[:] = 0
        kernel.near_arcs(*arguments, proof.bottleneck, limits, counts, ends)
        listed = min(most, int(counts.sum()))
    return ends[0, :listed].copy(), ends[1, :listed].copy(), int(within)


def reduced_matrix(problem: GtspProblem, duals: IntegerDuals) -> IntArray:
    """(n, n) reduced costs of all arcs, in units; entries inside a cluster mean nothing."""
    reduced: IntArray = problem.cost * duals.scale + duals.leave[:, None] + duals.enter[None, :]
    pair = duals.pair[:, problem.cluster_of]
    reduced += pair + pair.T
    for weight, cut in zip(duals.cut.tolist(), duals.cuts, strict=True):
        reduced[np.ix_(cut.members, cut.members)] += weight
    return reduced


def _reduced_costs(
    problem: GtspProblem, duals: IntegerDuals, arcs: tuple[IntArray, IntArray]
) -> IntArray:
    """Reduced costs of these arcs, in units."""
    owner, (tail, head) = problem.cluster_of, arcs
    reduced: IntArray = problem.cost[tail, head].astype(np.int64) * duals.scale
    reduced += duals.leave[tail] + duals.enter[head]
    reduced += duals.pair[tail, owner[head]] + duals.pair[head, owner[tail]]
    # Cuts one by one: listed arcs are few, and so are cuts with a dual.
    inside = np.zeros(len(problem.nodes), bool)
    for weight, cut in zip(duals.cut.tolist(), duals.cuts, strict=True):
        inside[cut.members] = True
        reduced += weight * (inside[tail] & inside[head])
        inside[cut.members] = False
    return reduced


class _ArcPass(NamedTuple):
    """The arguments that the passes over all arcs share, in their order; see ``one_tree``."""

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


def _arc_pass(
    problem: GtspProblem, duals: IntegerDuals, *, upper: int, symmetric: bool
) -> _ArcPass:
    """Lay the duals out: members of each cut in rows, and the cuts of each node in rows."""
    # Members of each cut, one after the other.
    lengths = [len(cut.members) for cut in duals.cuts]
    node_from = np.concatenate([[0], np.cumsum(lengths)]).astype(np.int64)
    nodes = np.concatenate([np.zeros(0, np.int64), *(cut.members for cut in duals.cuts)])
    owned = np.repeat(np.arange(len(duals.cuts)), lengths)
    # The cuts of each node: the same entries sorted by node.
    order = np.argsort(nodes, kind="stable")
    counts = np.bincount(nodes, minlength=len(problem.nodes))
    cuts_from = np.concatenate([[0], np.cumsum(counts)]).astype(np.int64)
    plan = np.array([duals.scale, upper, int(symmetric)])
    return _ArcPass(
        problem.cost, problem.first, problem.cluster_of, duals.leave, duals.enter, duals.pair,
        np.ascontiguousarray(duals.pair.T), duals.cut, cuts_from, owned[order].astype(np.int64),
        node_from, nodes.astype(np.int64), plan,
    )  # fmt: skip
