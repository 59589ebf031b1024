"""A bound on the last finish that floating point cannot spoil, from any multipliers whatever.

With m >= 0 for the kinds, u for the nodes, p >= 0 for the needs and more of them for cartridges and
store visits, every plan has a weighted time of at least the sum of the multipliers times the right
sides, plus over units and starts the least reduced cost of an arc that leaves them, since they are
left by one arc. Stores are left by any number of arcs: their reduced costs are made not negative
first, by the multiplier of the node. All of it in whole numbers, over all arcs allowed, in the
program or not.
"""

from dataclasses import dataclass

import numpy as np

from greaseroute.kernel_cache import cached_njit
from greaseroute.solvers.arrays import FAR, BoolArray, IntArray
from greaseroute.solvers.vrp.bag import Bags
from greaseroute.solvers.vrp.cutting_planes.giant_tour import Ring
from greaseroute.solvers.vrp.cutting_planes.relaxation import (
    FIRST_ARCS,
    NO_END,
    S_PER_MS,
    Branch,
    Flow,
    Need,
)

UNIT = 2**16  # multipliers are rounded to this part of one, and of a millisecond


@dataclass(frozen=True, slots=True, eq=False)
class Price:
    """A proved bound and the whole numbers it is the sum of.

    ``kind`` are the multipliers of kinds; ``total`` is not above the sum over kinds of the
    multiplier times the time of its arcs; ``least`` the least reduced cost out of each cluster,
    ``spare`` (nodes,) what a plan that visits a node adds at least. ``weight`` are the multipliers
    of ``needs`` (those that are left a number of times), ``node`` of nodes.
    """

    kind: IntArray
    total: int
    least: IntArray
    spare: IntArray
    weight: IntArray
    needs: tuple[Need, ...]
    reduced: IntArray
    node: IntArray

    def last_finish_ms(self, ring: Ring) -> int:
        """No last finish is below this: the mean of the kinds' times, weighted."""
        if self.total >= FAR:
            return FAR
        weight = int((self.kind * ring.crew).sum())
        together = self.total + int((self.kind * ring.start_ms).sum())
        return -(-together // weight) if weight > 0 else 0

    def too_dear(self, ring: Ring, worth_ms: int) -> BoolArray:
        """Nodes that no plan with a last finish below ``worth_ms`` visits."""
        weight = int((self.kind * ring.crew).sum())
        room = worth_ms * weight - self.total - int((self.kind * ring.start_ms).sum())
        dear: BoolArray = self.spare >= room
        dear[ring.unit_nodes :] = False
        return dear & (self.total < FAR)


def priced(
    ring: Ring,
    flow: Flow,
    needs: list[Need],
    *,
    bags: Bags | None = None,
    branch: Branch | None = None,
) -> Price:
    """The bound from the multipliers of ``flow``, over the plans of a branch."""
    kind = np.maximum(np.rint(flow.kind * UNIT), 0).astype(np.int64)
    node = np.rint(flow.node * UNIT / S_PER_MS).astype(np.int64)
    p = np.maximum(np.rint(flow.need * UNIT / S_PER_MS), 0).astype(np.int64)
    reduced = ring.cost * kind[ring.kind][:, None] - node[:, None] + node[None, :]
    used = np.flatnonzero(p)
    total = sum(int(p[k]) * needs[k].times for k in used)
    if used.size:
        _take_needs(reduced, p[used], [needs[k] for k in used])
    allowed = ring.allowed
    if bags is not None and branch is not None:
        total += _take_bags(reduced, ring, bags, flow=flow, branch=branch)
    if branch is not None:
        allowed = allowed & ~branch.shut[:, None] & ~branch.shut[None, :]
    reduced[~allowed] = FAR
    node = _lift_stores(reduced, ring, node)
    out = reduced.min(axis=1)
    least = np.minimum.reduceat(out, ring.first)
    least[ring.cluster[ring.store]] = 0
    lost = bool((least >= FAR // 2).any())
    counted = [k for k in used if needs[k].times]
    return Price(
        kind=kind,
        total=int(FAR) if lost else total + int(least.sum()),
        least=least,
        spare=np.where(out < FAR // 2, out - least[ring.cluster], FAR),
        weight=p[counted],
        needs=tuple(needs[k] for k in counted),
        reduced=reduced,
        node=node,
    )


def _take_needs(reduced: IntArray, p: IntArray, needs: list[Need]) -> None:
    """Take the multipliers off the arcs that count in the needs."""
    inside = np.array([need.inside for need in needs])
    take_off(reduced, inside, p)
    credit = np.array([need.credit for need in needs])
    np.add.at(reduced, credit[credit >= 0], p[credit >= 0][:, None])


def _take_bags(reduced: IntArray, ring: Ring, bags: Bags, *, flow: Flow, branch: Branch) -> int:
    """Take the multipliers of cartridges and visits off the arcs; what they bring on the whole."""
    per = UNIT / S_PER_MS
    bag, shape = np.maximum(np.rint(flow.bag * per), 0).astype(np.int64), bags.left.shape
    stroke = np.maximum(np.rint(flow.strokes * per), 0).astype(np.int64).reshape(shape)
    ranges = np.concatenate([branch.visits, branch.together[:, None]], axis=1)
    visit = np.rint(np.append(flow.visits, flow.total) * per).astype(np.int64)
    visit = np.where(ranges[1] >= NO_END, np.maximum(visit, 0), visit)
    free = branch.put_in[1] >= NO_END
    stroke = np.where(free, np.minimum(stroke, bag[:, None] // bags.cartridge), stroke)
    each = bag[:, None] - stroke * bags.cartridge  # of a cartridge put in
    bound = np.where(each >= 0, branch.put_in[0], np.where(free, 0, branch.put_in[1]))
    brings = int((each * bound).sum())
    brings += int((visit * np.where(visit >= 0, ranges[0], ranges[1])).sum())
    brings -= int((stroke * bags.left).sum()) + int((bag * bags.held).sum())
    extra = (bags.strokes * stroke[ring.kind]).sum(axis=1)
    extra -= np.where(ring.store, (bag * bags.full + visit[:-1] + visit[-1])[ring.kind], 0)
    reduced += extra[:, None]
    return brings


def _lift_stores(reduced: IntArray, ring: Ring, node: IntArray) -> IntArray:
    """Make the arcs out of every store cost nothing at least; those into it cost as much less."""
    node = node.copy()
    for store in np.flatnonzero(ring.store):
        out = reduced[store].min()
        if out < 0:
            reduced[store] -= np.where(reduced[store] < FAR // 2, out, 0)
            reduced[:, store] += np.where(reduced[:, store] < FAR // 2, out, 0)
            node[store] += out
    return node


def lacking(
    ring: Ring, price: Price, flow: Flow, *, present: BoolArray
) -> tuple[IntArray, IntArray]:
    """Arcs cheaper than those the program uses out of their cluster, the worst few per node."""
    level = np.rint(flow.cluster * UNIT / S_PER_MS).astype(np.int64)
    slack = np.where(present, FAR, price.reduced) - level[ring.cluster][:, None]
    count = min(FIRST_ARCS, slack.shape[0] - 1)
    row = np.arange(slack.shape[0])
    chosen = np.zeros_like(present)
    chosen[row[:, None], np.argpartition(slack, count, axis=1)[:, :count]] = True
    chosen[np.argpartition(slack, count, axis=0)[:count], row[None, :]] = True
    tail, head = np.nonzero(chosen & (slack < -UNIT // 8))
    return tail.astype(np.int64), head.astype(np.int64)


@cached_njit
def take_off(reduced: IntArray, inside: BoolArray, weight: IntArray) -> None:
    """Take each set's weight off ``reduced`` (N, N) where an arc leads out of it."""
    n = reduced.shape[0]
    off = np.zeros(n, np.int64)
    for k in range(weight.shape[0]):
        for w in range(n):
            off[w] = 0 if inside[k, w] else weight[k]
        for v in range(n):
            if inside[k, v]:
                for w in range(n):
                    reduced[v, w] -= off[w]
