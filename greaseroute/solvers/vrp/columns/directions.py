"""A network laid out for the label kernels: forward from the start, backward from the finish.

Backward, times are counted down from the horizon: what is an arc's head forward is its tail, and a
window [early, late] of leaving becomes [horizon - late, horizon - early].
"""

from itertools import pairwise
from typing import NamedTuple

import numpy as np

from greaseroute.solvers.arrays import FAR, BoolArray, IntArray
from greaseroute.solvers.vrp.columns.kernels.labels import Direction
from greaseroute.solvers.vrp.columns.network import (
    Network,
    TechnicianType,
    as_free,
    more_ms,
)


class Both(NamedTuple):
    """The two directions of one network, the backward one for no horizon yet."""

    forward: Direction
    backward: Direction

    def at(self, horizon_ms: int) -> "Both":
        """The directions for rounds that take ``horizon_ms`` at most."""
        ahead, back = self.forward, self.backward
        early = np.maximum(horizon_ms + back.early_ms, 0)
        turned = back._replace(
            start_ms=np.maximum(back.start_ms, early[back.start_exit]),
            early_ms=early,
            late_ms=np.minimum(horizon_ms + back.late_ms, FAR),
        )
        # nobody leaves a first visit before its window allows
        begun = np.maximum(ahead.start_ms, ahead.early_ms[ahead.start_exit])
        return Both(ahead._replace(start_ms=begun, early_ms=np.maximum(ahead.early_ms, 0)), turned)


def both_directions(net: Network, kind: TechnicianType, *, near: BoolArray, stores: bool) -> Both:
    """Arcs between units that are ``near`` (n, n), by stores as well if asked for."""
    allowed = near[net.exit_unit[:, None], net.exit_unit[None, :]]
    layers = [net.step_ms, net.store_step_ms] if stores else [net.step_ms]
    steps = [np.where(allowed, layer, FAR) for layer in layers]
    rows = np.arange(net.exit_unit.size)
    starts = [(rows, net.start_ms, net.load)]
    if stores:
        # filled before the first visit: what was in the bag does not come on top
        filled = kind.held - kind.full - kind.in_guns
        starts.append((rows, net.store_start_ms, filled + net.load))
    onward = np.concatenate([*layers, net.finish_ms[:, None]], axis=1)
    origins = np.concatenate([*layers, net.start_ms[None], net.store_start_ms[None]])
    turned = net._replace(early_ms=-net.late_ms, late_ms=-net.early_ms)
    return Both(
        _direction(net, steps, starts=starts, onward=onward),
        _direction(
            turned,
            [step.T for step in steps],
            starts=[(rows, net.finish_ms, net.load)],
            onward=origins.T,
        ),
    )


def least_use(kind: TechnicianType) -> int:
    """What has been used of the bag, as counted from the start, when the bag has been filled."""
    return min(0, kind.held - kind.most)


# Long: one record filled field by field.
def _direction(
    net: Network,
    steps: list[IntArray],
    *,
    starts: list[tuple[IntArray, IntArray, IntArray]],
    onward: IntArray,
) -> Direction:
    more = more_ms(onward, net.first_exit)
    place = (np.arange(net.exit_unit.size) - net.first_exit[net.exit_unit]).astype(np.int64)
    layers = []
    # arcs straight and by a store, those that others always replace left out
    for layer, step in enumerate(steps):
        needed = (step < FAR) & ~_replaced(net, step, more)
        tail, head = np.nonzero(needed)
        layers.append(np.stack([tail, head, step[tail, head], np.full(tail.size, layer)]))
    arcs = np.concatenate(layers, axis=1).astype(np.int64)
    arcs = arcs[:, np.lexsort((arcs[3], arcs[1], arcs[0]))]
    exits = net.exit_unit.size
    # a bundle begins where the tail or the head's unit is another than before
    to = net.exit_unit[arcs[1]] if exits else arcs[1]
    new = np.flatnonzero(np.diff(arcs[0] * exits + to, prepend=-1))
    possible = [start[1] < FAR for start in starts]
    first, times, used = (
        np.concatenate([start[k][able] for start, able in zip(starts, possible, strict=True)])
        for k in range(3)
    )
    return Direction(
        exit_unit=net.exit_unit,
        first_bundle=np.searchsorted(arcs[0][new], np.arange(exits + 1)).astype(np.int64),
        bundle_unit=to[new],
        bundle_ms=np.minimum.reduceat(arcs[2], new) if new.size else arcs[2],
        first_arc=np.append(new, arcs.shape[1]).astype(np.int64),
        arc_head=np.ascontiguousarray(arcs[1]),
        arc_ms=np.ascontiguousarray(arcs[2]),
        arc_store=np.ascontiguousarray(arcs[3]),
        start_exit=first.astype(np.int64),
        start_ms=times.astype(np.int64),
        start_used=used.astype(np.int64),
        early_ms=net.early_ms,
        late_ms=net.late_ms,
        load=net.load,
        more_ms=more,
        place=place,
    )


def _replaced(net: Network, step: IntArray, more: IntArray) -> BoolArray:
    """(X, X) arcs in whose place one to another exit of the same unit can always be taken."""
    gone = np.zeros(step.shape, dtype=bool)
    for begin, end in pairwise(net.first_exit.tolist()):
        for b in range(begin, end):
            for a in range(begin, end):
                later = int(more[a, b - begin])
                if a != b and net.load[a] <= net.load[b] and as_free(net, (a, b), later):
                    # strictly sooner, so that no two arcs stand in for each other
                    gone[:, b] |= (step[:, a] + later < step[:, b]) & ~gone[:, a]
    return gone
