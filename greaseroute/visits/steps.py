"""What is done at a unit in order: stand by stand, fitting by fitting."""

from dataclasses import dataclass, replace

from greaseroute.catalogue.posture import position
from greaseroute.solvers.unit_tour import Way, nodes_of
from greaseroute.visits.nodes import AGAIN, LOOK, POSTURE, TURN, Item, Node
from greaseroute.visits.visit import UnitVisit
from greaseroute.visits.work import FittingWork


@dataclass(frozen=True, slots=True)
class NodeCall:
    """What is done at one node: fittings in pumping order with their bands, look points.

    ``again`` are the fittings (joint/fitting) of a second pass. ``climbs``: a deck is climbed to;
    False on the ground and where one is on that deck already.
    """

    node: Node
    posture: str
    fittings: tuple[tuple[FittingWork, str], ...]
    looks: tuple[str, ...]
    event: Item | None
    again: tuple[str, ...] = ()
    climbs: bool = False


@dataclass(frozen=True, slots=True, eq=False)
class UnitCall:
    """One unit by one way; ``numbers`` are those of its nodes, in order."""

    visit: UnitVisit
    way: Way
    numbers: tuple[int, ...]
    nodes: tuple[NodeCall, ...]

    @property
    def fittings(self) -> tuple[FittingWork, ...]:
        """Every fitting in pumping order."""
        return tuple(f for call in self.nodes for f, _ in call.fittings)


def unit_call(visit: UnitVisit, way: Way) -> UnitCall:
    """Walk through a way: at each node all that is left to do there is done."""
    left = {item for node in visit.nodes for item in node.items}
    posture = visit.work.unit.posture
    calls: list[NodeCall] = []
    before: Node | None = None
    numbers = tuple(nodes_of(visit.tour, way))
    for number in numbers:
        node = visit.nodes[number]
        event = node.items[0] if node.kind != "stand" else None
        if event is not None and event[0] == POSTURE:
            posture = event[1]
        bands = {i: band for i, band in zip(node.items, node.bands, strict=True) if i in left}
        left -= set(bands)
        call = _node_call(visit, node, posture=posture, bands=bands, event=event)
        climbs = node.deck is not None and not (before and on_same_deck(before, node))
        calls.append(replace(call, climbs=climbs))
        before = node
    assert not left, f"{visit.work.unit.unit}: {sorted(left)} not reached on the way"
    return UnitCall(visit, way, numbers, tuple(calls))


def _node_call(
    visit: UnitVisit, node: Node, *, posture: str, bands: dict[Item, str], event: Item | None
) -> NodeCall:
    work = [f for joint in visit.work.joints for f in joint.fittings if f.key in bands]
    work.sort(key=lambda f: f.gun)  # one gun after the other; within a gun the catalogue's order
    looks = tuple(name for word, name in bands if word == LOOK)
    again = tuple(name for word, name in bands if word == AGAIN)
    return NodeCall(node, posture, tuple((f, bands[f.key]) for f in work), looks, event, again)


def event_steps(call: NodeCall, visit: UnitVisit) -> tuple[str, ...]:
    """What is done at this node before the first fitting, step by step, in plain words."""
    if call.event is None:
        return _climb_steps(call) + _again_steps(call)
    word, name = call.event
    if word == POSTURE:
        return _posture_steps(visit, name)
    assert word == TURN
    return _turn_steps(visit, name)


def on_same_deck(before: Node, node: Node) -> bool:
    """Whether one walks from one stand to the next without coming down."""
    return node.deck is not None and (before.deck, before.posture) == (node.deck, node.posture)


def _climb_steps(call: NodeCall) -> tuple[str, ...]:
    deck = call.node.deck
    if deck is None:
        return ()
    if not call.climbs:
        return (f"stay on the {deck}: move along to the next place",)
    return (f"climb to the {deck}: three points of contact, nothing in the hands",)


def _again_steps(call: NodeCall) -> tuple[str, ...]:
    if not call.again:
        return ()
    joints = dict.fromkeys(name.partition("/")[0] for name in call.again)
    names = ", ".join(name.partition("/")[2] for name in call.again)
    return (
        f"second pass over {' and '.join(joints)}: one more stroke into {names}; "
        "wipe the lip of the seal, look for fresh grease",
    )


def _posture_steps(visit: UnitVisit, name: str) -> tuple[str, ...]:
    title = visit.work.machine_type.posture(name).title
    words = f"{position(name)} ({title})" if title else position(name)
    return (
        "stand clear here and take your lock off",
        f"ask the operator for {words}",
        "implements down, engine off, key out: isolate again before you go near",
    )


def _turn_steps(visit: UnitVisit, name: str) -> tuple[str, ...]:
    procedure = visit.work.machine_type.joint(name).procedure
    assert procedure is not None
    second = ("a second person takes the controls",) if procedure.second_person else ()
    steps = tuple(step.do for step in procedure.steps)
    return ("stand clear here, outside the swing radius", *second, *steps)
