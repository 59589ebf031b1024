"""When what happens during a visit, and when somebody beside the technician has to be there.

Milliseconds count from the moment the work at the unit begins; changes of cartridges are not in
them, since they hang on what the guns hold: ``pumped`` says how many fittings come before.
"""

from collections.abc import Iterator
from dataclasses import dataclass

from greaseroute.solvers.unit_tour import Way
from greaseroute.units import ms
from greaseroute.visits.node_tour import on_deck_ms
from greaseroute.visits.nodes import AGAIN, POSTURE, TURN, again_item, band_ms
from greaseroute.visits.steps import NodeCall, UnitCall, on_same_deck
from greaseroute.visits.visit import UnitVisit, beside_ms, turns
from greaseroute.visits.work import JointWork


@dataclass(frozen=True, slots=True)
class Need:
    """Somebody has to be at the machine: at which node of the way, for what, from when, how long.

    ``posture`` or ``joint`` says for what. ``pumped``: fittings of the visit pumped before.
    """

    node: int
    posture: str
    joint: str
    offset_ms: int
    duration_ms: int
    pumped: int


@dataclass(frozen=True, slots=True)
class At:
    """One node of a way in time: there at ``begin_ms``, done at ``end_ms``; procedures at its end.

    ``beside`` holds (joint, ms) of each procedure without a turn that follows the fittings here.
    """

    call: NodeCall
    begin_ms: int
    end_ms: int
    beside: tuple[tuple[JointWork, int], ...]
    pumped: int


def timeline(call: UnitCall) -> tuple[At, ...]:
    """Every node of a visit in time; the visit ends when the last climb down is done."""
    visit = call.visit
    now = 0 if visit.called_first else visit.isolation_ms
    found: list[At] = []
    pumped = 0
    procedures = _procedures(call)
    for k, node in enumerate(call.nodes):
        now += _to_node_ms(call, k)
        beside = tuple(procedures[k])
        end = now + _here_ms(node, visit) + sum(spent for _, spent in beside)
        found.append(At(node, now, end, beside, pumped))
        pumped += len(node.fittings)
        now = end
    return tuple(found)


def needs_of(call: UnitCall) -> tuple[Need, ...]:
    """When somebody beside the technician has to be at the machine, in order. Worked out once."""
    known: dict[Way, tuple[Need, ...]] = call.visit.needs
    if call.way not in known:
        found = (need for k, at in enumerate(timeline(call)) for need in _needs(call, k, at))
        known[call.way] = tuple(found)
    return known[call.way]


def _needs(call: UnitCall, k: int, at: At) -> Iterator[Need]:
    isolation_ms = call.visit.isolation_ms
    event = at.call.event
    if event is not None and event[0] == POSTURE:
        yield Need(k, event[1], "", at.begin_ms, at.call.node.event_ms - isolation_ms, at.pumped)
    elif event is not None and event[0] == TURN:
        joint = next(j for j in call.visit.work.joints if j.joint.name == event[1])
        if joint.needs_second:
            spent = at.call.node.event_ms - isolation_ms
            yield Need(k, "", event[1], at.begin_ms, spent, at.pumped)
    now = at.end_ms - sum(spent for _, spent in at.beside)
    pumped = at.pumped + len(at.call.fittings)
    for joint, spent in at.beside:
        if joint.needs_second:
            yield Need(k, "", joint.joint.name, now, spent, pumped)
        now += spent


def _to_node_ms(call: UnitCall, k: int) -> int:
    """From the node before: down from its deck, the walk, up to this one; along a shared deck."""
    node = call.nodes[k].node
    if k == 0:
        return node.climb_ms
    before = call.nodes[k - 1].node
    if on_same_deck(before, node):
        return on_deck_ms(before, node, speed_m_s=call.visit.outfit.speed_m_s)
    walk = int(call.visit.walks.ms[call.numbers[k - 1], call.numbers[k]])
    return before.climb_ms + walk + node.climb_ms


def _here_ms(call: NodeCall, visit: UnitVisit) -> int:
    """Settling, what moves, second passes, fittings and checks of a node."""
    bands = band_ms(visit.outfit.reach)
    pumping = sum(ms(f.pump_s) + bands[band] for f, band in call.fittings)
    looking = ms(visit.rules.look_s) * len(call.looks)
    node = call.node
    return node.settle_ms + node.event_ms + again_ms(call, visit) + pumping + looking


def again_ms(call: NodeCall, visit: UnitVisit) -> int:
    """Time of a second pass at a stand: coupling and one stroke at each fitting, in its band."""
    if not call.again:
        return 0
    bands = band_ms(visit.outfit.reach)
    work = {again_item(f.key): f for j in visit.work.joints for f in j.fittings}
    handling_s = visit.outfit.reach.handling_s
    return sum(
        ms(handling_s + work[item].stroke_s) + bands[band]
        for item, band in zip(call.node.items, call.node.bands, strict=True)
        if item[0] == AGAIN and item[1] in call.again
    )


def _procedures(call: UnitCall) -> list[list[tuple[JointWork, int]]]:
    """For each node the procedures without a turn of the joints that are finished there."""
    last = {f.joint: k for k, node in enumerate(call.nodes) for f, _ in node.fittings}
    joints = {j.joint.name: j for j in call.visit.work.joints}
    place = {j.name: k for k, j in enumerate(call.visit.work.machine_type.joints)}
    order = sorted(last, key=lambda name: (last[name], place[name]))
    spent = beside_ms(
        [joints[name] for name in order], call.visit.work.machine_type, call.visit.rules
    )
    found: list[list[tuple[JointWork, int]]] = [[] for _ in call.nodes]
    for name in order:
        if name in spent and not turns(joints[name]):
            found[last[name]].append((joints[name], spent[name]))
    return found
