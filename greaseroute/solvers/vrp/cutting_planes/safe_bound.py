"""A bound on the last finish that floating point cannot spoil, from any duals whatever.

With m >= 0 for the types, u for the nodes, p >= 0 for the cuts and further duals for cartridges and
store visits, the weighted time of every plan is at least the sum of duals times right sides, plus,
over units and depots, the least reduced cost of an arc that leaves them, since one arc does. Stores
are left by any number of arcs: their reduced costs are made not negative first, by the dual of the
node. All of it in whole numbers, over all arcs allowed, in the program or not.
"""

from dataclasses import dataclass

import numpy as np

from greaseroute.kernel_cache import cached_njit
from greaseroute.solvers.arrays import FAR, BoolArray, IntArray
from greaseroute.solvers.vrp.cutting_planes.bags import Bags
from greaseroute.solvers.vrp.cutting_planes.giant_tour import GiantTour
from greaseroute.solvers.vrp.cutting_planes.relaxation import (
    FIRST_ARCS,
    NO_END,
    S_PER_MS,
    Flow,
    PlanBranch,
    SetCut,
)

UNIT = 2**16  # duals are rounded to this part of one, and of a millisecond


@dataclass(frozen=True, slots=True, eq=False)
class PricedBound:
    """A proved bound and the whole numbers it is the sum of.

    Attributes
    ----------
    weight : (types,)
        Duals of types: weights of their times.
    total : int
        Not above the sum over types of the weight times the time of its arcs; ``FAR`` where there
        is no plan.
    least : (clusters,)
        Least reduced cost out of each cluster.
    extra : (N,)
        What a plan that visits a node adds at least.
    cut_dual, cuts
        Duals of cuts that are left a number of times.
    reduced : (N, N)
        Reduced costs, ``FAR`` where not allowed.
    node : (N,)
        Duals of nodes.
    """

    weight: IntArray
    total: int
    least: IntArray
    extra: IntArray
    cut_dual: IntArray
    cuts: tuple[SetCut, ...]
    reduced: IntArray
    node: IntArray

    def last_finish_ms(self, tour: GiantTour) -> int:
        """No last finish is below this: the mean of the types' times, weighted."""
        if self.total >= FAR:
            return int(FAR)
        weight = int((self.weight * tour.crew).sum())
        # Weighted times and starts are weighted finishes; the last one is above their mean.
        total = self.total + int((self.weight * tour.start_ms).sum())
        return -(-total // weight) if weight > 0 else 0

    def too_costly(self, tour: GiantTour, upper_ms: int) -> BoolArray:
        """Nodes that no plan with a last finish below ``upper_ms`` visits."""
        weight = int((self.weight * tour.crew).sum())
        # What a plan better than the upper value may cost above the bound.
        slack = upper_ms * weight - self.total - int((self.weight * tour.start_ms).sum())
        costly: BoolArray = self.extra >= slack
        costly[tour.unit_nodes :] = False
        return costly & (self.total < FAR)


def priced(
    tour: GiantTour,
    flow: Flow,
    cuts: list[SetCut],
    *,
    bags: Bags | None = None,
    branch: PlanBranch | None = None,
) -> PricedBound:
    """Prove a bound from the duals of ``flow``, over the plans of a branch (None: all plans)."""
    # Duals in whole numbers; those of inequalities not below zero.
    weight = np.maximum(np.rint(flow.of_type * UNIT), 0).astype(np.int64)
    node = np.rint(flow.node * UNIT / S_PER_MS).astype(np.int64)
    p = np.maximum(np.rint(flow.cut * UNIT / S_PER_MS), 0).astype(np.int64)
    # Reduced costs: weighted time, less what the rows pay.
    reduced = tour.cost * weight[tour.type_of][:, None] - node[:, None] + node[None, :]
    used = np.flatnonzero(p)
    total = sum(int(p[k]) * cuts[k].times for k in used)
    if used.size:
        _take_cuts_off(reduced, p[used], [cuts[k] for k in used])
    allowed = tour.allowed
    if bags is not None and branch is not None:
        total += _take_bags_off(reduced, tour, bags, flow=flow, branch=branch)
    if branch is not None:
        allowed = allowed & ~branch.shut[:, None] & ~branch.shut[None, :]
    reduced[~allowed] = FAR
    node = _lift_stores(reduced, tour, node)
    # The least arc out of each unit and each depot.
    out = reduced.min(axis=1)
    least = np.minimum.reduceat(out, tour.first)
    least[tour.cluster[tour.store]] = 0
    no_plan = bool((least >= FAR // 2).any())
    counted = [k for k in used if cuts[k].times]
    return PricedBound(
        weight=weight,
        total=int(FAR) if no_plan else total + int(least.sum()),
        least=least,
        extra=np.where(out < FAR // 2, out - least[tour.cluster], FAR),
        cut_dual=p[counted],
        cuts=tuple(cuts[k] for k in counted),
        reduced=reduced,
        node=node,
    )


def _take_cuts_off(reduced: IntArray, p: IntArray, cuts: list[SetCut]) -> None:
    """Take the duals off the arcs that count in the cuts."""
    inside = np.array([cut.inside for cut in cuts])
    take_off(reduced, inside, p)
    visited = np.array([cut.visited_node for cut in cuts])
    np.add.at(reduced, visited[visited >= 0], p[visited >= 0][:, None])


def _take_bags_off(
    reduced: IntArray, tour: GiantTour, bags: Bags, *, flow: Flow, branch: PlanBranch
) -> int:
    """Take the duals of cartridges and visits off the arcs; what their right sides bring."""
    per = UNIT / S_PER_MS
    # Duals of bags and strokes in whole numbers; visits of either sign if their range ends.
    bag, shape = np.maximum(np.rint(flow.bag * per), 0).astype(np.int64), bags.left.shape
    stroke = np.maximum(np.rint(flow.strokes * per), 0).astype(np.int64).reshape(shape)
    ranges = np.concatenate([branch.visits, branch.total[:, None]], axis=1)
    visit = np.rint(np.append(flow.visits, flow.total) * per).astype(np.int64)
    visit = np.where(ranges[1] >= NO_END, np.maximum(visit, 0), visit)
    # Where cartridges have no upper end, one more must not lower the bound.
    free = branch.put_in[1] >= NO_END
    stroke = np.where(free, np.minimum(stroke, bag[:, None] // bags.cartridge), stroke)
    each = bag[:, None] - stroke * bags.cartridge  # of a cartridge put in
    put_in = np.where(each >= 0, branch.put_in[0], np.where(free, 0, branch.put_in[1]))
    # Right sides: ranges of the branch, strokes in the guns, cartridges in the bags.
    brings = int((each * put_in).sum())
    brings += int((visit * np.where(visit >= 0, ranges[0], ranges[1])).sum())
    brings -= int((stroke * bags.left).sum()) + int((bag * bags.held).sum())
    # Arcs: strokes taken at the tail cost, a store visited pays.
    extra = (bags.strokes * stroke[tour.type_of]).sum(axis=1)
    at_store = (bag * bags.full + visit[:-1] + visit[-1])[tour.type_of]
    reduced += (extra - np.where(tour.store, at_store, 0))[:, None]
    return brings


def _lift_stores(reduced: IntArray, tour: GiantTour, node: IntArray) -> IntArray:
    """Make the arcs out of every store cost nothing at least; those into it cost as much less."""
    node = node.copy()
    for store in np.flatnonzero(tour.store):
        # What the arcs out gain, the arcs in lose: no closed walk changes.
        out = reduced[store].min()
        if out < 0:
            reduced[store] -= np.where(reduced[store] < FAR // 2, out, 0)
            reduced[:, store] += np.where(reduced[:, store] < FAR // 2, out, 0)
            node[store] += out
    return node


def violated_columns(
    tour: GiantTour, bound: PricedBound, flow: Flow, *, present: BoolArray
) -> tuple[IntArray, IntArray]:
    """Arcs cheaper than those the program uses out of their cluster, the worst few per node."""
    # Arcs below the dual of their cluster would change the optimum.
    level = np.rint(flow.cluster * UNIT / S_PER_MS).astype(np.int64)
    slack = np.where(present, FAR, bound.reduced) - level[tour.cluster][:, None]
    count = min(FIRST_ARCS, slack.shape[0] - 1)
    row = np.arange(slack.shape[0])
    chosen = np.zeros_like(present)
    chosen[row[:, None], np.argpartition(slack, count, axis=1)[:, :count]] = True
    chosen[np.argpartition(slack, count, axis=0)[:count], row[None, :]] = True
    tail, head = np.nonzero(chosen & (slack < -UNIT // 8))
    return tail.astype(np.int64), head.astype(np.int64)


@cached_njit
def take_off(reduced: IntArray, inside: BoolArray, weight: IntArray) -> None:
    """Take each set's weight off ``reduced`` (N, N) where an arc leads out of it.

    ``inside`` (q, N) are the sets, ``weight`` (q,) theirs.
    """
    n = reduced.shape[0]
    off = np.zeros(n, np.int64)
    for k in range(weight.shape[0]):
        # The heads outside once for each set: a row is then one pass without a branch.
        for w in range(n):
            off[w] = 0 if inside[k, w] else weight[k]
        for v in range(n):
            if inside[k, v]:
                for w in range(n):
                    reduced[v, w] -= off[w]
