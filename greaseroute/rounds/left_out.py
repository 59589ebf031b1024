"""What the plan does not serve, each with its reason and what would help."""

from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence

from greaseroute.catalogue.posture import position
from greaseroute.intervals.worklist import DueItem
from greaseroute.plan.round import LeftOut
from greaseroute.site.model import Site
from greaseroute.visits.calls import MORE_TIME, NO_SECOND
from greaseroute.visits.nodes import Item
from greaseroute.visits.poses import Surveyed
from greaseroute.visits.visit import turns
from greaseroute.visits.work import JointWork, UnitWork, left_out

NO_TIME = "not enough time before the shift"


def nobody_can(works: Sequence[Sequence[UnitWork]]) -> list[LeftOut]:
    """Joints that no outfit can do; ``works`` holds the units of each outfit."""
    done = {
        (work.unit.unit, joint.joint.name)
        for each in works
        for work in each
        for joint in work.joints
    }
    missing: dict[tuple[str, str], LeftOut] = {}
    for each in works:
        for work in each:
            for lacking in work.cannot:
                key = (lacking.item.unit, lacking.item.joint)
                if key not in done:
                    record = left_out(lacking.item, lacking.reason, helps=lacking.helps)
                    missing.setdefault(key, record)
    return list(missing.values())


def takes_more(works: Sequence[Sequence[UnitWork]]) -> list[LeftOut]:
    """What nobody reaches from the ground or a deck, with what it takes; the same for all."""
    found: dict[tuple[str, str, str | None], LeftOut] = {}
    for each in works:
        for work in each:
            for far in work.takes_more:
                record = left_out(far.item, far.reason, fitting=far.fitting, helps=far.helps)
                found.setdefault((record.unit, record.joint, record.fitting), record)
    return list(found.values())


def whole_unit(work: UnitWork, reason: str, *, helps: str = "") -> list[LeftOut]:
    """Every joint of a unit, for one reason."""
    return [left_out(joint.due, reason, helps=helps) for joint in work.joints]


def not_in_reach(surveyed: Surveyed, done: Collection[Item], *, may_move: bool) -> list[LeftOut]:
    """Fittings of a visited unit that its visit (which serves ``done``) cannot serve.

    Where all fittings of a joint share one reason, the joint is listed once.
    """
    found = []
    for joint in surveyed.reach.work.joints:
        why = {
            f.fitting: fitting_reason(surveyed, joint, f.key, may_move=may_move)
            for f in joint.fittings
            if f.key not in done
        }
        if len(why) == len(joint.fittings) and len(set(why.values())) == 1:
            reason, helps = next(iter(why.values()))
            found.append(left_out(joint.due, reason, helps=helps))
        else:
            found += [
                left_out(joint.due, reason, fitting=name, helps=helps)
                for name, (reason, helps) in why.items()
            ]
    return found


def fitting_reason(
    surveyed: Surveyed, joint: JointWork, item: Item, *, may_move: bool
) -> tuple[str, str]:
    """Why a fitting stays out of reach, and what would help."""
    reach = surveyed.reach
    if turns(joint) and not reach.has_clear:
        return "no clear ground to stand on while the machine turns", "park it with room to slew"
    reason, helps = _as_it_stands(surveyed, joint, item)
    posture = surveyed.elsewhere.get(item)
    if posture is None:
        return reason, helps
    if posture in surveyed.no_call:
        no_call = surveyed.no_call[posture]
        if no_call.reason == NO_SECOND:
            return no_call.reason, no_call.helps
        return f"{reason}; in reach in {position(posture)}; {no_call.reason}", no_call.helps
    if may_move and not reach.has_clear:
        return f"{reason}; no clear ground to stand on while it moves", position(posture)
    return reason, f"in reach in {position(posture)}"


def _as_it_stands(surveyed: Surveyed, joint: JointWork, item: Item) -> tuple[str, str]:
    reach = surveyed.reach
    out = {o.wanted.key: o for o in reach.stands[reach.now].out_of_reach}
    if item in out:
        return out[item].reason, out[item].helps
    allowed = joint.joint.postures
    if allowed and reach.now not in allowed:
        places = " or ".join(map(position, allowed))
        return f"it stands in {position(reach.now)}; greased in {places} only", ""
    return "no stand left on the ground that all postures of the round leave free", ""


def no_time(joints: Sequence[JointWork], reason: str, *, helps: str = MORE_TIME) -> list[LeftOut]:
    """Joints in reach that the morning has no time or no way for, weightiest first."""
    return [
        left_out(j.due, reason, helps=helps)
        for j in sorted(joints, key=lambda j: (-j.weight, j.joint.name))
    ]


def due_fittings(
    site: Site, items: Sequence[DueItem], without: Collection[tuple[str, str, str]] = ()
) -> dict[tuple[str, str], tuple[str, ...]]:
    """The names of the fittings that are due of each joint, less those ``without``."""
    machines = {unit.unit: site.machine(unit) for unit in site.units}
    return {
        (item.unit, item.joint): tuple(
            fitting.name
            for fitting in machines[item.unit].joint(item.joint).fittings
            if not item.due_fittings or fitting.name in item.due_fittings
            if (item.unit, item.joint, fitting.name) not in without
        )
        for item in items
    }


def once(
    records: Iterable[LeftOut], due: Mapping[tuple[str, str], Sequence[str]]
) -> Iterator[LeftOut]:
    """The records with each fitting told once, for the first reason given.

    A record of a whole joint of which some fittings are told already becomes one for each of the
    others. ``due`` has the fittings of each joint.
    """
    told: set[tuple[str, str, str]] = set()
    for record in records:
        unit, joint = record.unit, record.joint
        names = (record.fitting,) if record.fitting else due.get((unit, joint)) or ("",)
        fresh = [name for name in names if (unit, joint, name) not in told]
        told.update((unit, joint, name) for name in fresh)
        if len(fresh) == len(names):
            yield record
        else:
            yield from (record.model_copy(update={"fitting": name}) for name in fresh)


def by_unit_and_joint(
    left: Sequence[LeftOut], order: Mapping[tuple[str, str], int]
) -> tuple[LeftOut, ...]:
    """Records in fleet order, then catalogue order, then fitting."""
    return tuple(
        sorted(left, key=lambda x: (order.get((x.unit, x.joint), len(order)), x.fitting or ""))
    )


def order_of(items: Sequence[DueItem]) -> dict[tuple[str, str], int]:
    """The order in which joints are listed."""
    return {(item.unit, item.joint): k for k, item in enumerate(items)}
