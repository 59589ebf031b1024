"""A visit to a unit: what is done there, at which nodes, and what each way in and out costs."""

from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from greaseroute.rounds.node_tour import fewer_nodes, node_tour
from greaseroute.rounds.nodes import (
    LOOK,
    POSTURE,
    TURN,
    Item,
    Node,
    band_ms,
    event_nodes,
    stand_nodes,
)
from greaseroute.rounds.reaching import UnitReach
from greaseroute.rounds.unit_tours import IntArray, UnitTour, Way, all_ways, best_ways
from greaseroute.rounds.work import JointWork, Outfit, UnitWork
from greaseroute.site.crew import WorkingRules
from greaseroute.stands.reach import Array
from greaseroute.units import S_PER_MIN, ms

Walk = Callable[[Array], IntArray]


@dataclass(frozen=True, slots=True, eq=False)
class UnitVisit:
    """One visit to a unit at one level of service.

    ``walk_ms`` is between the nodes' points on the ground. ``ways`` are in and out node with the
    time that the route decides (walking inside, climbs, settling, posture moves) and the turns;
    ``fixed_ms`` is all that no route changes: isolation, coupling, strokes, bands, procedures,
    looks. ``postures`` are asked for in this order; ``loss`` is the weight not served.
    """

    work: UnitWork
    items: frozenset[Item]
    nodes: tuple[Node, ...]
    walk_ms: IntArray
    tour: UnitTour
    ways: tuple[Way, ...]
    fixed_ms: int
    turn_ms: int
    postures: tuple[str, ...]
    loss: int

    def route_ms(self, way: Way) -> int:
        """The part of a way's time that the route decides."""
        return way.ms - self.turn_ms

    def total_ms(self, way: Way) -> int:
        """The whole time at the unit for a way."""
        return self.route_ms(way) + self.fixed_ms


def unit_visit(
    reach: UnitReach,
    joints: Sequence[JointWork],
    *,
    walk: Walk,
    rules: WorkingRules,
    outfit: Outfit,
) -> UnitVisit | None:
    """The visit that serves ``joints`` as far as they are in reach; None if none of them is."""
    joints = [joint for joint in joints if reach.has_clear or not turns(joint)]
    wanted = frozenset(f.key for joint in joints for f in joint.fittings)
    postures = reach.moves(wanted) if reach.has_clear else ()
    in_reach = frozenset().union(*(reach.served(p) for p in (reach.now, *postures)))
    looks = frozenset(i for i in in_reach if i[0] == LOOK)
    items = (wanted & in_reach) | looks
    if not wanted & items:
        return None
    turned = [j for j in joints if turns(j) and _keys(j) & items]
    nodes = _nodes(reach, items, postures=postures, turned=turned, rules=rules, outfit=outfit)
    done = frozenset(i for node in nodes for i in node.items)
    if not items <= done:  # cannot be: each item has a stand in a posture that is taken
        raise AssertionError(f"{reach.work.unit.unit}: {sorted(items - done)} lost its stands")
    return _visit(
        reach, nodes, items=items, postures=postures, walk=walk, rules=rules, outfit=outfit
    )


def _keys(joint: JointWork) -> frozenset[Item]:
    return frozenset(f.key for f in joint.fittings)


def turns(joint: JointWork) -> bool:
    """Whether somebody stands clear while the machine turns, as part of greasing this joint."""
    procedure = joint.joint.procedure
    return procedure is not None and procedure.stand_clear


def _nodes(
    reach: UnitReach,
    items: Collection[Item],
    *,
    postures: tuple[str, ...],
    turned: Sequence[JointWork],
    rules: WorkingRules,
    outfit: Outfit,
) -> list[Node]:
    nodes = [
        node
        for posture in (reach.now, *postures)
        for node in stand_nodes(
            reach.stands[posture], taken=postures, wanted=items, reach=outfit.reach
        )
    ]
    move_ms = ms(rules.posture_move_min * S_PER_MIN)
    for k, posture in enumerate(postures):
        nodes += event_nodes(
            "posture",
            reach.clear,
            item=(POSTURE, posture),
            need=[(POSTURE, p) for p in postures[k - 1 : k] if k],
            event_ms=move_ms,
            posture=posture,
        )
    for joint in turned:
        nodes += _turn_nodes(reach, joint, items=items, last=(reach.now, *postures)[-1])
    return fewer_nodes(nodes)


def _turn_nodes(
    reach: UnitReach, joint: JointWork, *, items: Collection[Item], last: str
) -> list[Node]:
    procedure = joint.joint.procedure
    assert procedure is not None
    return event_nodes(
        "turn",
        reach.clear,
        item=(TURN, joint.joint.name),
        need=sorted(_keys(joint) & set(items)),
        event_ms=ms(procedure.minutes * S_PER_MIN),
        posture=last,
    )


def _visit(
    reach: UnitReach,
    nodes: Sequence[Node],
    *,
    items: frozenset[Item],
    postures: tuple[str, ...],
    walk: Walk,
    rules: WorkingRules,
    outfit: Outfit,
) -> UnitVisit:
    walk_ms = walk(np.asarray([n.foot_m for n in nodes]))
    bands = band_ms(outfit.reach)
    tour = node_tour(nodes, walk_ms, band_ms=bands, speed_m_s=outfit.speed_m_s)
    turn_ms = sum({n.items[0]: n.event_ms for n in nodes if n.kind == "turn"}.values())
    return UnitVisit(
        work=reach.work,
        items=items,
        nodes=tuple(nodes),
        walk_ms=walk_ms,
        tour=tour,
        ways=tuple(best_ways(all_ways(tour), walk_ms)),
        fixed_ms=turn_ms + _fixed_ms(reach.work, nodes, items=items, bands=bands, rules=rules),
        turn_ms=turn_ms,
        postures=postures,
        loss=reach.work.weight - _weight(reach.work, items),
    )


def _weight(work: UnitWork, items: frozenset[Item]) -> int:
    return sum(joint.weight for joint in work.joints if _keys(joint) & items)


def _fixed_ms(
    work: UnitWork,
    nodes: Sequence[Node],
    *,
    items: frozenset[Item],
    bands: Mapping[str, int],
    rules: WorkingRules,
) -> int:
    """Isolation, coupling and strokes, each fitting's least band, procedures without a move."""
    least: dict[Item, int] = {}
    for node in nodes:
        for item, band in zip(node.items, node.bands, strict=True):
            least[item] = min(least.get(item, bands[band]), bands[band])
    pumping = sum(
        ms(f.pump_s) + least[f.key] for j in work.joints for f in j.fittings if f.key in items
    )
    looking = ms(rules.look_s) * sum(item[0] == LOOK for item in items)
    return (
        ms(rules.isolation_s)
        + pumping
        + looking
        + sum(
            ms(j.joint.procedure.minutes * S_PER_MIN)
            for j in work.joints
            if j.joint.procedure is not None and not turns(j) and _keys(j) & items
        )
    )
