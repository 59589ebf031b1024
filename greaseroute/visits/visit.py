"""A visit to a unit: what is done there, at which nodes, and what each way in and out costs."""

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from greaseroute.catalogue.machine_type import MachineType
from greaseroute.errors import UnfitProblem
from greaseroute.site.crew import WorkingRules
from greaseroute.solvers.unit_tour import UnitTour, Way, all_ways, best_ways
from greaseroute.stands.stand import Point2
from greaseroute.units import S_PER_MIN, ms
from greaseroute.visits.isolation import isolation_ms
from greaseroute.visits.node_tour import fewer_nodes, node_tour
from greaseroute.visits.nodes import (
    LOOK,
    POSTURE,
    TURN,
    Item,
    Node,
    again_item,
    again_nodes,
    band_ms,
    event_nodes,
    stand_nodes,
)
from greaseroute.visits.reach import UnitReach
from greaseroute.visits.walks_inside import InsideWalks
from greaseroute.visits.work import JointWork, Outfit, UnitWork

# (most units, slack in ms): ways that lose no more than this against another are dropped, and
# the certificate allows for it. With few units every way is kept that can be best.
WAY_SLACKS = ((10, 0), (150, 100))
MOST_SLACK_MS = 250


def way_slack_ms(units: int) -> int:
    """The slack for ways on a site where that many units are visited."""
    return next((slack for most, slack in WAY_SLACKS if units <= most), MOST_SLACK_MS)


@dataclass(frozen=True, slots=True, eq=False)
class UnitVisit:
    """One visit to a unit at one level of service.

    ``walks`` are between the nodes. ``ways`` are in and out node with the
    time that the route decides (walking inside, climbs, settling, posture moves) and the turns;
    ``fixed_ms`` is all that no route changes: isolation, coupling, strokes, bands, procedures,
    looks. ``slack_ms``: no way that was dropped is better by more. ``postures`` are asked for in
    this order; ``loss`` is the weight not served. ``calls``, ``sequences`` and ``needs``
    are the memory of `unit_call` and `needs_of`: what is done on a way, its nodes in order, who is
    wanted when.
    """

    work: UnitWork
    outfit: Outfit
    rules: WorkingRules
    items: frozenset[Item]
    nodes: tuple[Node, ...]
    walks: InsideWalks
    tour: UnitTour
    ways: tuple[Way, ...]
    slack_ms: int
    fixed_ms: int
    turn_ms: int
    postures: tuple[str, ...]
    loss: int
    calls: dict[Way, Any] = field(default_factory=dict, init=False)
    sequences: dict[Way, tuple[int, ...]] = field(default_factory=dict, init=False)
    needs: dict[Way, Any] = field(default_factory=dict, init=False)

    @property
    def ends(self) -> tuple[Point2, ...]:
        """The points on the ground where some way begins or ends, each once."""
        numbers = (n for way in self.ways for n in (way.enter, way.leave))
        return tuple(dict.fromkeys(self.nodes[n].foot_m for n in numbers))

    @property
    def needs_people(self) -> bool:
        """Whether somebody beside the technician has to come."""
        served = {joint for joint, _ in self.items}
        second = any(j.needs_second and j.joint.name in served for j in self.work.joints)
        return second or bool(self.postures)

    @property
    def isolation_ms(self) -> int:
        """Time to isolate the unit once."""
        return isolation_ms(self.work.machine_type, self.rules)

    @property
    def called_first(self) -> bool:
        """Whether nothing is done in the posture as parked: the call comes before isolation."""
        return called_first(self.nodes, now=self.work.unit.posture)

    def route_ms(self, way: Way) -> int:
        """The part of a way's time that the route decides."""
        return way.ms - self.turn_ms

    def total_ms(self, way: Way) -> int:
        """The whole time at the unit for a way."""
        return self.route_ms(way) + self.fixed_ms


@dataclass(frozen=True, slots=True, eq=False)
class UnitTask:
    """What is to be done at a unit and the nodes where it can be done, before any walking."""

    work: UnitWork
    items: frozenset[Item]
    nodes: tuple[Node, ...]
    postures: tuple[str, ...]


def unit_task(
    reach: UnitReach, joints: Sequence[JointWork], *, rules: WorkingRules, outfit: Outfit
) -> UnitTask | None:
    """What serves ``joints`` as far as they are in reach; None if none of them is."""
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
    return UnitTask(reach.work, items, tuple(nodes), postures)


def _keys(joint: JointWork) -> frozenset[Item]:
    return frozenset(f.key for f in joint.fittings)


def turns(joint: JointWork) -> bool:
    """Whether somebody stands clear while the machine turns, as part of greasing this joint."""
    procedure = joint.joint.procedure
    return procedure is not None and procedure.stand_clear


def called_first(nodes: Sequence[Node], *, now: str) -> bool:
    """Whether no node is worked at in posture ``now``, so that the unit is moved first of all."""
    moved = any(n.kind == "posture" for n in nodes)
    return moved and not any(n.kind != "posture" and n.posture == now for n in nodes)


def _needless_now(reach: UnitReach, items: Collection[Item], postures: tuple[str, ...]) -> bool:
    """Whether all is served in the postures asked for: then nothing is done as it is parked."""
    served = frozenset[Item]().union(*(reach.served(p) for p in postures))
    return bool(postures) and frozenset(items) <= served


def _nodes(
    reach: UnitReach,
    items: Collection[Item],
    *,
    postures: tuple[str, ...],
    turned: Sequence[JointWork],
    rules: WorkingRules,
    outfit: Outfit,
) -> list[Node]:
    first = () if _needless_now(reach, items, postures) else (reach.now,)
    nodes = [
        node
        for posture in (*first, *postures)
        for node in stand_nodes(
            reach.stands[posture], taken=postures, wanted=items, reach=outfit.reach
        )
    ]
    for k, posture in enumerate(postures):
        nodes += event_nodes(
            "posture",
            reach.clear,
            item=(POSTURE, posture),
            need=[(POSTURE, p) for p in postures[k - 1 : k] if k],
            event_ms=move_ms(reach.work.machine_type, rules, locked=bool(k or first)),
            posture=posture,
        )
    stands = [node for node in nodes if node.kind == "stand"]
    for joint in turned:
        nodes += _turn_nodes(
            reach, joint, items=items, last=(reach.now, *postures)[-1], rules=rules
        )
        if joint.joint.procedure is not None and joint.joint.procedure.turns:
            done = _keys(joint) & set(items)
            nodes += again_nodes(stands, joint=joint.joint.name, fittings=done)
    return fewer_nodes(nodes, band_ms=band_ms(outfit.reach))


def move_ms(machine: MachineType, rules: WorkingRules, *, locked: bool) -> int:
    """A posture asked for: unlocked where it was locked, moved, isolated again in full."""
    moved = ms(rules.posture_move_min * S_PER_MIN) + isolation_ms(machine, rules)
    return moved + (ms(rules.unlock_s) if locked else 0)


def moved_ms(machine: MachineType, rules: WorkingRules) -> int:
    """What moving an isolated unit takes besides: unlocking it, isolating it again."""
    return ms(rules.unlock_s) + isolation_ms(machine, rules)


def beside_ms(
    joints: Iterable[JointWork], machine: MachineType, rules: WorkingRules
) -> dict[str, int]:
    """Procedures without a turn by joint, in the order in which the joints are finished.

    Those of one kind that move the unit share one unlocking and one isolation, at the first.
    """
    found: dict[str, int] = {}
    kinds: set[str] = set()
    for joint in joints:
        procedure = joint.joint.procedure
        if procedure is None or turns(joint):
            continue
        first = procedure.moves and procedure.kind not in kinds
        found[joint.joint.name] = ms(procedure.minutes * S_PER_MIN)
        if first:
            kinds.add(procedure.kind)
            found[joint.joint.name] += moved_ms(machine, rules)
    return found


def _turn_nodes(
    reach: UnitReach,
    joint: JointWork,
    *,
    items: Collection[Item],
    last: str,
    rules: WorkingRules,
) -> list[Node]:
    procedure = joint.joint.procedure
    assert procedure is not None
    return event_nodes(
        "turn",
        reach.clear,
        item=(TURN, joint.joint.name),
        need=sorted(_keys(joint) & set(items)),
        event_ms=ms(procedure.minutes * S_PER_MIN) + moved_ms(reach.work.machine_type, rules),
        posture=last,
    )


def unit_visit(
    task: UnitTask,
    walks: InsideWalks,
    *,
    rules: WorkingRules,
    outfit: Outfit,
    slack_ms: int = 0,
) -> UnitVisit:
    """The visit with its ways, from the walks between its nodes; see `best_ways` for the slack."""
    bands = band_ms(outfit.reach)
    try:
        tour = node_tour(task.nodes, walks.ms, band_ms=bands, speed_m_s=outfit.speed_m_s)
    except UnfitProblem as error:
        raise UnfitProblem(
            f"unit {task.work.unit.unit}", error.value, limit=error.limit,
            next_step="leave its daily checks out (--checks none), or grease it on two mornings",
        ) from None  # fmt: skip
    ways, lost_ms = best_ways(all_ways(tour), walks.ms, slack_ms=slack_ms)
    turn_ms = sum({n.items[0]: n.event_ms for n in task.nodes if n.kind == "turn"}.values())
    return UnitVisit(
        work=task.work,
        outfit=outfit,
        rules=rules,
        items=task.items,
        nodes=task.nodes,
        walks=walks,
        tour=tour,
        ways=tuple(ways),
        slack_ms=lost_ms,
        fixed_ms=turn_ms + _fixed_ms(task, bands=bands, rules=rules, outfit=outfit),
        turn_ms=turn_ms,
        postures=task.postures,
        loss=task.work.weight - _weight(task.work, task.items),
    )


def _weight(work: UnitWork, items: frozenset[Item]) -> int:
    return sum(joint.weight for joint in work.joints if _keys(joint) & items)


def _fixed_ms(
    task: UnitTask, *, bands: Mapping[str, int], rules: WorkingRules, outfit: Outfit
) -> int:
    """Isolation, coupling and strokes, least bands, second passes, procedures without a turn."""
    least: dict[Item, int] = {}
    for node in task.nodes:
        for item, band in zip(node.items, node.bands, strict=True):
            least[item] = min(least.get(item, bands[band]), bands[band])
    done = [j for j in task.work.joints if _keys(j) & task.items]
    pumping = sum(
        ms(f.pump_s) + least[f.key] for j in done for f in j.fittings if f.key in task.items
    )
    again = sum(
        ms(outfit.reach.handling_s + f.stroke_s) + least[again_item(f.key)]
        for j in done
        for f in j.fittings
        if again_item(f.key) in least
    )
    looking = ms(rules.look_s) * sum(item[0] == LOOK for item in task.items)
    procedures = sum(beside_ms(done, task.work.machine_type, rules).values())
    first = called_first(task.nodes, now=task.work.unit.posture)
    isolation = 0 if first else isolation_ms(task.work.machine_type, rules)
    return isolation + pumping + again + looking + procedures
