"""The nodes of a unit: stands in each posture, and points to stand clear at while it moves."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

from greaseroute.site.reach import Reach
from greaseroute.stands.reach import BANDS, Array, band_seconds
from greaseroute.stands.stand import Point2, Stand, UnitStands
from greaseroute.units import ms

NodeKind = Literal["stand", "posture", "turn"]
# What is done at a node: (joint, fitting), or one of these words and a name.
Item = tuple[str, str]
POSTURE, TURN, AGAIN, LOOK = "*posture", "*turn", "*again", "*look"


@dataclass(frozen=True, slots=True)
class Node:
    """A place where something is done at a unit.

    ``foot_m`` is its point on the ground, ``climb_ms`` one way from there. ``event_ms`` is the
    time of what moves while one stands clear. ``items`` with the ``bands`` they are done in.
    ``need`` must all be done before, of ``forbid`` nothing.
    """

    kind: NodeKind
    posture: str
    x_m: float
    y_m: float
    height_m: float
    deck: str | None
    foot_m: Point2
    settle_ms: int
    climb_ms: int
    event_ms: int
    items: tuple[Item, ...]
    bands: tuple[str, ...]
    need: tuple[Item, ...] = ()
    forbid: tuple[Item, ...] = ()


def stand_nodes(
    found: UnitStands, *, taken: Sequence[str], wanted: Iterable[Item], reach: Reach
) -> list[Node]:
    """Stands of one posture. ``taken``: the postures asked for, in order (without the first)."""
    before = taken[: taken.index(found.posture) + 1] if found.posture in taken else ()
    after = taken[len(before) :][:1]
    goal = set(wanted)
    nodes = [_stand_node(found, s, goal=goal, reach=reach) for s in found.stands]
    return [
        _with_rules(node, need=[(POSTURE, p) for p in before], forbid=[(POSTURE, p) for p in after])
        for node in nodes
        if node.items
    ]


def _stand_node(found: UnitStands, stand: Stand, *, goal: set[Item], reach: Reach) -> Node:
    pairs = [
        (item_of(found.wanted[j].look, found.wanted[j].key), band)
        for j, band in zip(stand.serves, stand.bands, strict=True)
    ]
    pairs = [(item, band) for item, band in pairs if item in goal]
    return Node(
        kind="stand",
        posture=found.posture,
        x_m=stand.x_m,
        y_m=stand.y_m,
        height_m=stand.height_m,
        deck=stand.deck,
        foot_m=stand.foot_m,
        settle_ms=ms(reach.settle_s),
        climb_ms=ms(stand.climb_s / 2),
        event_ms=0,
        items=tuple(item for item, _ in pairs),
        bands=tuple(band for _, band in pairs),
    )


def _with_rules(node: Node, *, need: Sequence[Item], forbid: Sequence[Item]) -> Node:
    values = {name: getattr(node, name) for name in Node.__slots__}
    return Node(**{**values, "need": tuple(need), "forbid": tuple(forbid)})


def again_nodes(nodes: Sequence[Node], *, joint: str, fittings: Iterable[Item]) -> list[Node]:
    """Stands of a second pass over a joint's fittings, once the machine has been turned."""
    wanted = set(fittings)
    found = []
    for node in nodes:
        mine = [(i, band) for i, band in zip(node.items, node.bands, strict=True) if i in wanted]
        if mine:
            values = {name: getattr(node, name) for name in Node.__slots__}
            values["items"] = tuple(again_item(i) for i, _ in mine)
            values["bands"] = tuple(band for _, band in mine)
            values["need"] = (*node.need, (TURN, joint))
            found.append(Node(**values))
    return found


def again_item(item: Item) -> Item:
    """The second pass over a fitting."""
    return AGAIN, "/".join(item)


def item_of(look: bool, key: Item) -> Item:
    """The item that a wanted fitting or look point is."""
    return (LOOK, key[0]) if look else key


def event_nodes(
    kind: NodeKind,
    points: Array,
    *,
    item: Item,
    need: Sequence[Item],
    event_ms: int,
    posture: str,
) -> list[Node]:
    """One node for each point to stand clear at while ``item`` happens."""
    return [
        Node(
            kind=kind,
            posture=posture,
            x_m=float(x),
            y_m=float(y),
            height_m=0.0,
            deck=None,
            foot_m=(float(x), float(y)),
            settle_ms=0,
            climb_ms=0,
            event_ms=event_ms,
            items=(item,),
            bands=("clear",),
            need=tuple(need),
        )
        for x, y in points
    ]


def band_ms(reach: Reach) -> Mapping[str, int]:
    """Milliseconds each band costs at a fitting; looking and standing clear cost none."""
    times = dict(zip(BANDS, (ms(s) for s in band_seconds(reach)), strict=True))
    return {**times, "look": 0, "clear": 0}
