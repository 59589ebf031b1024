"""From nodes to the integers of a unit tour: groups of items, moves, and what each costs."""

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from greaseroute.solvers.arrays import NO_PATH, BoolArray, IntArray
from greaseroute.solvers.unit_tour import GROUPS, UnitTour
from greaseroute.stands.thin import greedy_cover
from greaseroute.units import ms
from greaseroute.visits.nodes import Item, Node


def node_tour(
    nodes: Sequence[Node], walk_ms: IntArray, *, band_ms: Mapping[str, int], speed_m_s: float
) -> UnitTour:
    """The unit tour over ``nodes``; ``walk_ms`` between their points on the ground, -1 no path."""
    items = sorted({item for node in nodes for item in node.items})
    cover, extra = _tables(nodes, items, band_ms=band_ms)
    need, forbid = _rules(nodes, items)
    keep = _groups(cover, extra, rules=np.vstack([need, forbid]))
    return UnitTour(
        enter_ms=np.asarray([n.climb_ms + n.settle_ms + n.event_ms for n in nodes], np.int64),
        leave_ms=np.asarray([n.climb_ms for n in nodes], np.int64),
        move_ms=_moves(nodes, walk_ms, speed_m_s=speed_m_s),
        cover=cover[:, list(keep)],
        need=need[:, list(keep)],
        forbid=forbid[:, list(keep)],
        extra_ms=np.stack([extra[:, group].sum(axis=1) for group in keep.values()], axis=1),
    )


def fewer_nodes(nodes: Sequence[Node], *, band_ms: Mapping[str, int]) -> list[Node]:
    """The nodes, or where they make too many groups a small set that serves the same items.

    Events and what they hang on stay as they are; of the stands a greedy cover is kept. Where that
    still makes too many, each item is done at the first of these stands alone.
    """
    if _group_count(nodes, band_ms=band_ms) <= GROUPS:
        return list(nodes)
    kept = _covering(nodes)
    if _group_count(kept, band_ms=band_ms) <= GROUPS:
        return kept
    return _each_once(kept)


def _group_count(nodes: Sequence[Node], *, band_ms: Mapping[str, int]) -> int:
    items = sorted({item for node in nodes for item in node.items})
    cover, extra = _tables(nodes, items, band_ms=band_ms)
    return len(_groups(cover, extra, rules=np.vstack(_rules(nodes, items))))


def _covering(nodes: Sequence[Node]) -> list[Node]:
    """The events, and stands that serve all: each the one that serves most of what is left."""
    items = sorted({item for node in nodes for item in node.items})
    cover, _ = _tables(nodes, items, band_ms={})
    event = np.asarray([n.kind != "stand" for n in nodes])
    stands = np.flatnonzero(~event)
    chosen = set(stands[greedy_cover(cover[stands])]) | set(np.flatnonzero(event))
    return [n for i, n in enumerate(nodes) if i in chosen]


def _each_once(nodes: Sequence[Node]) -> list[Node]:
    """The nodes, each item at one stand alone: that which serves most, the first of equals."""
    order = sorted(range(len(nodes)), key=lambda k: (-len(nodes[k].items), k))
    taken: set[Item] = set()
    found = {}
    for k in order:
        node = nodes[k]
        if node.kind == "stand":
            pairs = [p for p in zip(node.items, node.bands, strict=True) if p[0] not in taken]
            taken.update(item for item, _ in pairs)
            items, bands = (tuple(each) for each in zip(*pairs, strict=True)) if pairs else ((), ())
            node = replace(node, items=items, bands=bands)
        if node.items:
            found[k] = node
    return [found[k] for k in sorted(found)]


def _tables(
    nodes: Sequence[Node], items: Sequence[Item], *, band_ms: Mapping[str, int]
) -> tuple[BoolArray, IntArray]:
    """What each node serves, and what an item costs there above its least, (S, items) each."""
    column = {item: k for k, item in enumerate(items)}
    cover = np.zeros((len(nodes), len(items)), dtype=bool)
    cost = np.zeros((len(nodes), len(items)), dtype=np.int64)
    for row, node in enumerate(nodes):
        for item, band in zip(node.items, node.bands, strict=True):
            cover[row, column[item]] = True
            cost[row, column[item]] = band_ms.get(band, 0)
    least = np.where(cover, cost, np.iinfo(np.int64).max).min(
        axis=0, initial=np.iinfo(np.int64).max
    )
    return cover, np.where(cover, cost - least, 0)


def _rules(nodes: Sequence[Node], items: Sequence[Item]) -> tuple[BoolArray, BoolArray]:
    need = np.asarray([[item in node.need for item in items] for node in nodes], dtype=bool)
    forbid = np.asarray([[item in node.forbid for item in items] for node in nodes], dtype=bool)
    return need.reshape(len(nodes), -1), forbid.reshape(len(nodes), -1)


def _groups(cover: BoolArray, extra: IntArray, rules: BoolArray) -> dict[int, list[int]]:
    """Columns that must be told apart, each with the columns it stands for.

    Equal columns are one group. An item at hand wherever another one is needs no group of its
    own: it is done by then at the latest (only where it costs the same everywhere and nothing
    waits for it, as ``rules`` says).
    """
    groups: dict[bytes, list[int]] = {}
    for k in range(cover.shape[1]):
        columns = (cover[:, k], extra[:, k] > 0, rules[:, k])
        groups.setdefault(b"".join(c.tobytes() for c in columns), []).append(k)
    first = {members[0]: members for members in groups.values()}
    free = [k for k in first if not rules[:, k].any() and not extra[:, first[k]].any()]
    needless = {k for k in free if _implied(cover, k, others=first)}
    return {k: members for k, members in first.items() if k not in needless}


def _implied(cover: BoolArray, k: int, *, others: Mapping[int, list[int]]) -> bool:
    """Whether some other column's nodes all serve column k too (equal columns are merged)."""
    return any(j != k and not (cover[:, j] & ~cover[:, k]).any() for j in others)


def _moves(nodes: Sequence[Node], walk_ms: IntArray, *, speed_m_s: float) -> IntArray:
    climb = np.asarray([n.climb_ms for n in nodes], np.int64)
    begin = np.asarray([n.settle_ms + n.event_ms for n in nodes], np.int64)
    moves = climb[:, None] + walk_ms + climb[None, :] + begin[None, :]
    moves[walk_ms < 0] = NO_PATH
    for i, a in enumerate(nodes):
        for j, b in enumerate(nodes):
            if a.deck is not None and (a.deck, a.posture) == (b.deck, b.posture):
                moves[i, j] = on_deck_ms(a, b, speed_m_s=speed_m_s) + begin[j]
    return moves


def on_deck_ms(a: Node, b: Node, *, speed_m_s: float) -> int:
    """Walking time between two stands on one deck, straight, up to whole milliseconds."""
    return ms(float(np.ceil(1000 * np.hypot(a.x_m - b.x_m, a.y_m - b.y_m) / speed_m_s)) / 1000)
