"""Hanging attachments on a carrier: its own by name, and those that are files of their own."""

from collections.abc import Iterable, Mapping, Sequence
from typing import TypeVar

from greaseroute.catalogue.attachment import renamed
from greaseroute.catalogue.attachment_type import AttachmentType, Fit, Rest
from greaseroute.catalogue.coupling import Coupling
from greaseroute.catalogue.joint import Joint, LookPoint, Point3
from greaseroute.catalogue.kinematics.ground_rest import Ground, pitch_chain, set_down
from greaseroute.catalogue.kinematics.link_frames import link_angles
from greaseroute.catalogue.kinematics.stance import stance_of
from greaseroute.catalogue.link import Link, Solid
from greaseroute.catalogue.linkage import Cylinder
from greaseroute.catalogue.machine_type import MachineType
from greaseroute.catalogue.posture import Posture
from greaseroute.errors import PostureRefused, UnknownName

_R = TypeVar("_R", Joint, LookPoint, Cylinder)
TOUCHES_M = 0.05  # a tool this close to the ground was set down on it
LAY_WITHIN_DEG = 15.0  # what hangs on a coupler lies a little off, for it hangs further out


def hung(
    machine: MachineType, names: Iterable[str], *, on_hand: Mapping[str, AttachmentType]
) -> MachineType:
    """``machine`` with the named attachments hung on, in that order.

    ``on_hand`` are attachments that are files of their own, by name; the machine's own go first.

    Raises
    ------
    UnknownName
        A name that neither has, or an attachment that no coupling of the machine suits.
    PostureRefused
        An attachment that cannot be set down as it wants to be.
    """
    for name in names:
        own = {attachment.name for attachment in machine.attachments}
        if name in own:
            machine = machine.with_attachments([name])
        elif (tool := called(name, on_hand)) is not None:
            machine = _hang(machine, tool)
        else:
            known = ", ".join(sorted({*own, *fitting_names(machine, on_hand)})) or "none"
            step = "use one of these names"
            raise UnknownName(f"attachment of {machine.name}", name, limit=known, next_step=step)
    return machine


def called(name: str, on_hand: Mapping[str, AttachmentType]) -> AttachmentType | None:
    """The attachment of a name, or that was called so formerly."""
    formerly = (a for a in on_hand.values() if name in a.formerly)
    return on_hand.get(name) or next(formerly, None)


def fitting_names(machine: MachineType, on_hand: Mapping[str, AttachmentType]) -> tuple[str, ...]:
    """Names of the attachments on hand that some coupling of the machine suits."""
    return tuple(sorted(a.name for a in on_hand.values() if _place(machine, a) is not None))


def _place(machine: MachineType, tool: AttachmentType) -> tuple[Coupling, Fit] | None:
    """The first coupling of the machine that an attachment is made for."""
    for coupling in machine.couplings:
        for fit in tool.fits:
            if fit.kind == coupling.kind and fit.pins_mm[0] <= coupling.pin_mm <= fit.pins_mm[1]:
                return coupling, fit
    return None


def _hang(machine: MachineType, tool: AttachmentType) -> MachineType:
    place = _place(machine, tool)
    if place is None:
        made = "; ".join(f"{f.kind} of {f.pins_mm[0]:g} to {f.pins_mm[1]:g} mm" for f in tool.fits)
        has = "; ".join(f"{c.kind} of {c.pin_mm:g} mm" for c in machine.couplings) or "no coupling"
        raise UnknownName(
            f"attachment of {machine.name}",
            f"{tool.name}, made for {made}",
            limit=f"what fits this carrier: {has}",
            next_step="hang on one that fits or take it out",
        )
    coupling, fit = place
    sized = _scaled(tool, coupling.pin_mm / fit.drawn_for_mm)
    return _set_down(machine, _coupled(machine, sized, coupling), sized, coupling=coupling)


def _scaled(tool: AttachmentType, factor: float) -> AttachmentType:
    """The attachment in another size: every length times the factor."""

    def at(point: Point3) -> Point3:
        x, y, z = (round(value * factor, 4) for value in point)
        return (x, y, z)

    def fitted(joint: Joint) -> Joint:
        fittings = tuple(
            f.model_copy(
                update={
                    "position_m": at(f.position_m),
                    "feeds_m": at(f.feeds_m) if f.feeds_m else None,
                }
            )
            for f in joint.fittings
        )
        return joint.model_copy(update={"fittings": fittings})

    changes = {
        "links": tuple(_scaled_link(link, factor) for link in tool.links),
        "cylinders": tuple(_scaled_cylinder(c, factor) for c in tool.cylinders),
        "joints": tuple(fitted(joint) for joint in tool.joints),
        "looks": tuple(k.model_copy(update={"position_m": at(k.position_m)}) for k in tool.looks),
        "carries_m": at(tool.carries_m) if tool.carries_m else None,
    }
    return tool.model_copy(update=changes)


def _times(value: object, factor: float) -> object:
    """Numbers in nested tuples times a factor."""
    if isinstance(value, tuple):
        return tuple(_times(inner, factor) for inner in value)
    return round(value * factor, 4) if isinstance(value, float) else value


def _scaled_solid(solid: Solid, factor: float) -> Solid:
    shapes = ("box_m", "profile_m", "y_m", "hull_m")
    return solid.model_copy(update={f: _times(getattr(solid, f), factor) for f in shapes})


def _scaled_link(link: Link, factor: float) -> Link:
    solids = tuple(_scaled_solid(solid, factor) for solid in link.solids)
    return link.model_copy(update={"pivot_m": _times(link.pivot_m, factor), "solids": solids})


def _scaled_cylinder(cylinder: Cylinder, factor: float) -> Cylinder:
    lengths = ("head_pin_m", "rod_pin_m", "retracted_m", "extended_m", "diameter_m")
    return cylinder.model_copy(update={f: _times(getattr(cylinder, f), factor) for f in lengths})


def _coupled(machine: MachineType, tool: AttachmentType, coupling: Coupling) -> MachineType:
    """The machine with the tool's links, joints and checks; postures as they were."""
    old = machine.links_by_name[coupling.replaces]
    first = tool.links[0]
    kept = tuple(solid for solid in old.solids if solid.name in coupling.keeps)
    head = old.model_copy(update={"name": first.name, "solids": kept + first.solids})
    carried = _carried(old, tool, kept=kept)
    links = tuple(head if link.name == old.name else link for link in machine.links)
    names = {old.name: first.name}
    moved = [link for link in machine.links if link.parent == old.name]
    links = tuple(link if link not in moved or carried else renamed(link, names) for link in links)
    stays = {old.name} if carried else set()
    joints = tuple(_joined(joint, names, stays=stays) for joint in machine.joints)
    changes = {
        "links": (*links, *tool.links[1:], *carried),
        "cylinders": (*(renamed(c, names) for c in machine.cylinders), *tool.cylinders),
        "four_bars": tuple(renamed(bar, names) for bar in machine.four_bars),
        "joints": (*joints, *tool.joints),
        "looks": (*(k for k in machine.looks if k.link != old.name or carried), *tool.looks),
        "postures": tuple(_angled(p, names, tool) for p in machine.postures),
        "couplings": _couplings(machine, coupling, tool),
        "cautions": tuple(dict.fromkeys(machine.cautions + tool.cautions)),
    }
    return machine.model_copy(update=changes)


def _carried(old: Link, tool: AttachmentType, *, kept: Sequence[Solid]) -> tuple[Link, ...]:
    """What hung there before, on a coupler: fixed to it at its own place."""
    if tool.carries_m is None:
        return ()
    hooks = tuple(solid for solid in old.solids if solid not in kept)
    parent = tool.links[0].name
    changes = {"parent": parent, "pivot_m": tool.carries_m, "axis": "fixed", "solids": hooks}
    return (old.model_copy(update=changes),)


def _joined(joint: Joint, names: Mapping[str, str], *, stays: set[str]) -> Joint:
    """A joint that speaks of the tool's link; one of a carried link alone stays with that."""
    return joint if set(joint.links) <= stays else renamed(joint, names)


def _couplings(
    machine: MachineType, coupling: Coupling, tool: AttachmentType
) -> tuple[Coupling, ...]:
    """A coupler offers the place again; any other tool closes it."""
    others = tuple(c for c in machine.couplings if c.name != coupling.name)
    if tool.carries_m is None:
        return others
    return (*others, coupling.model_copy(update={"keeps": ()}))


def _angled(posture: Posture, names: Mapping[str, str], tool: AttachmentType) -> Posture:
    """A posture that speaks of the tool, its own links at their own angles."""
    mine = {link.name for link in tool.links}
    angles = {k: v for k, v in tool.angles_deg.items() if k in mine}
    spoken = renamed(posture, names)
    supported = tuple(names.get(link, link) for link in posture.supported)
    both = {**angles, **spoken.angles_deg}
    return spoken.model_copy(update={"angles_deg": both, "supported": supported})


def _set_down(
    before: MachineType, machine: MachineType, tool: AttachmentType, *, coupling: Coupling
) -> MachineType:
    """The machine with the tool on the ground where it wants to be, or as the old one lay."""
    head = _turning(machine, tool.links[0].name)
    rests = {rest.posture: rest for rest in tool.rests}
    postures = []
    for posture in machine.postures:
        rest = rests.pop(posture.name, None)
        ground = _wanted(rest) if rest else _lay(before, posture.name, coupling.replaces)
        if ground is None:
            postures.append(posture)
            continue
        like = machine.posture(rest.like) if rest else posture
        named = {"name": posture.name, "title": (rest.title if rest else "") or posture.title}
        laid = like.model_copy(update={**named, "supported": posture.supported})
        postures.append(_laid(machine, laid, head=head, ground=ground, tool=tool))
    for rest in rests.values():
        base = machine.posture(rest.like).model_copy(
            update={"name": rest.posture, "title": rest.title}
        )
        postures.append(_laid(machine, base, head=head, ground=_wanted(rest), tool=tool))
    return machine.model_copy(update={"postures": tuple(postures)})


def _turning(machine: MachineType, link: str) -> str:
    """The link that tilts the tool: itself, or the coupler that carries it."""
    here = machine.links_by_name[link]
    while here.axis != "pitch" and here.parent is not None:
        here = machine.links_by_name[here.parent]
    return here.name


def _wanted(rest: Rest) -> Ground:
    return Ground(rest.ground_deg, rest.within_deg)


def _lay(machine: MachineType, posture: str, link: str) -> Ground | None:
    """How a link lay on the ground, None where it hung in the air."""
    stance = stance_of(machine, posture, slew_deg=0.0)
    below = machine.below(link)
    if min(b.bottom_m for b in stance.bodies if b.link in below) > TOUCHES_M:
        return None
    angles = link_angles(machine, posture)
    head = _turning(machine, link)
    lay_deg = sum(angles[name] for name in (*pitch_chain(machine, head), head))
    return Ground(lay_deg, within_deg=LAY_WITHIN_DEG)


def _laid(
    machine: MachineType, posture: Posture, *, head: str, ground: Ground, tool: AttachmentType
) -> Posture:
    found = set_down(machine, posture, tool=head, ground=ground)
    if found is None:
        raise PostureRefused(
            f"{machine.name}, posture {posture.name}",
            f"{tool.name} cannot be set down at {ground.deg:g} degrees",
            limit="an angle that its linkage and cylinders allow",
            next_step="change ground_deg of the attachment or take it out",
        )
    return found
