"""What is done at a unit in order: stand by stand, fitting by fitting."""

from dataclasses import dataclass, replace

from greaseroute.catalogue.posture import position
from greaseroute.catalogue.procedure import Procedure
from greaseroute.solvers.unit_tour import Way, sequences
from greaseroute.units import S_PER_MIN, ms
from greaseroute.visits.isolation import isolation_steps
from greaseroute.visits.nodes import AGAIN, LOOK, POSTURE, TURN, Item, Node
from greaseroute.visits.visit import UnitVisit, move_ms
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
    """Walk through a way: at each node all that is left to do there is done. Worked out once."""
    known: dict[Way, UnitCall] = visit.calls
    if way not in known:
        known[way] = _walked(visit, way)
    return known[way]


def _sequence(visit: UnitVisit, way: Way) -> tuple[int, ...]:
    """The nodes of a way in order; worked out with all ways that begin at the same node."""
    if way not in visit.sequences:
        alike = list(dict.fromkeys([way, *(w for w in visit.ways if w.enter == way.enter)]))
        found = sequences(visit.tour, alike)
        visit.sequences.update((w, tuple(s)) for w, s in zip(alike, found, strict=True))
    return visit.sequences[way]


def _walked(visit: UnitVisit, way: Way) -> UnitCall:
    left = {item for node in visit.nodes for item in node.items}
    posture = visit.work.unit.posture
    calls: list[NodeCall] = []
    before: Node | None = None
    numbers = _sequence(visit, way)
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


@dataclass(frozen=True, slots=True)
class StepText:
    """One step to tick: what is done, by whom (empty: the technician), ms; whether it isolates."""

    do: str
    by: str = ""
    spent_ms: int = 0
    isolates: bool = False


def event_steps(call: NodeCall, visit: UnitVisit, *, who: str = "") -> tuple[StepText, ...]:
    """What is done at this node before the first fitting, step by step, in plain words.

    ``who`` is the name of the one who was called. The order is that of a yard: out of the machine,
    lock off, clear and seen, horn, lift, move, lower, isolated again in full, back in.
    """
    if call.event is None:
        return tuple(StepText(text) for text in _climb_steps(call) + _again_steps(call))
    word, name = call.event
    rules = visit.rules
    if word == POSTURE:
        locked = call.node.event_ms > move_ms(visit.work.machine_type, rules, locked=False)
        moved_s = rules.posture_move_min * S_PER_MIN
        return _move_steps(visit, _posture_words(visit, name), who=who, locked=locked,
                           spent_ms=ms(moved_s))  # fmt: skip
    assert word == TURN
    procedure = visit.work.machine_type.joint(name).procedure
    assert procedure is not None
    spent_ms = ms(procedure.minutes * S_PER_MIN)
    return _move_steps(visit, moving_words(procedure), who=who, locked=True, spent_ms=spent_ms)


def moving_words(procedure: Procedure) -> tuple[str, ...]:
    """The steps of a procedure that are done while one stands clear: those that move the machine.

    All of them, where the type marks none.
    """
    moving = tuple(step.do for step in procedure.ordered if step.machine_moves)
    return moving or tuple(step.do for step in procedure.ordered)


def isolation_texts(visit: UnitVisit) -> tuple[StepText, ...]:
    """The steps by which the unit is isolated in full."""
    steps = isolation_steps(visit.work.machine_type, visit.rules)
    return tuple(StepText(text, "", spent, True) for text, spent in steps)


def _move_steps(
    visit: UnitVisit, words: tuple[str, ...], *, who: str, locked: bool, spent_ms: int
) -> tuple[StepText, ...]:
    """A move of the machine, from going out to being isolated again."""
    operator = who or "the operator"
    unlock_ms = ms(visit.rules.unlock_s)
    off = (StepText(f"your lock and tag off, the key to {operator}, back to this place", "",
                    unlock_ms),)  # fmt: skip
    return (
        StepText("out, tools with you, to this place: clear of all that moves, in sight"),
        *(off if locked else (StepText(f"show {operator} this place; stay in it"),)),
        StepText("clear and seen: nobody else near, every loose thing off the machine", operator),
        StepText("horn", operator),
        StepText("lift every implement off the ground", operator),
        *(StepText(text, operator, spent_ms if k == 0 else 0) for k, text in enumerate(words)),
        StepText("lower every implement to the ground", operator),
        *isolation_texts(visit),
        StepText("back in only now"),
    )


def _posture_words(visit: UnitVisit, name: str) -> tuple[str, ...]:
    title = visit.work.machine_type.posture(name).title
    words = f"{position(name)} ({title})" if title else position(name)
    return (f"move it to {words}",)


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
