"""Are the units known machines, in known postures, standing where a machine can stand?"""

import difflib
import re
from collections import Counter
from collections.abc import Iterator, Sequence

import numpy as np
from shapely import STRtree
from shapely.geometry import Point, Polygon

from greaseroute.catalogue.hanging import called, fitting_names, hung
from greaseroute.catalogue.kinematics.placed import PlacedMachine, Pose, place
from greaseroute.catalogue.machine_type import MachineType
from greaseroute.catalogue.shelf import shelf_names
from greaseroute.errors import Fault, GreaserouteError, PostureRefused, UnknownName
from greaseroute.site.checks.ground import EDGE_M, is_swapped
from greaseroute.site.files.draft import FLEET, Draft
from greaseroute.site.fleet import Unit
from greaseroute.site.geodesy import LocalPlane
from greaseroute.site.ground_plan import Area, GroundPlan
from greaseroute.texts.validation import near, unknown_name

SLIP = 0.9  # likeness from which a name is a slip of the pen and not another machine
TOUCH_M2 = 0.05  # outlines that share less than this only touch


def fleet_faults(draft: Draft) -> Iterator[Fault]:
    """Every fault of the units but what their types lack."""
    for check in (
        doubled_units,
        unknown_types,
        unknown_parts,
        unknown_severities,
        skills_nobody_has,
        backward_windows,
    ):
        yield from check(draft)
    if draft.ground is not None and draft.plane is not None:
        yield from outside_boundary(draft, draft.ground, draft.plane)
        yield from on_closed_ground(draft, draft.ground)
        yield from across_barriers(draft, draft.ground)
    yield from overlapping(draft)


def doubled_units(draft: Draft) -> Iterator[Fault]:
    """Two rows of one fleet number."""
    counts = Counter(draft.unit_rows or ())
    first: dict[str, int] = {}
    for unit in draft.units:
        if counts[unit.unit] > 1 and unit.unit in first:
            allowed = f"each unit once (it stands on line {first[unit.unit]})"
            yield _fault(unit, "unit", (unit.unit, allowed, "rename one or take it out"))
        first.setdefault(unit.unit, unit.line)


def unknown_types(draft: Draft) -> Iterator[Fault]:
    """A type that is neither on the shelf nor in ``types/``."""
    own = {*draft.types, *draft.broken_types}
    known = sorted(own | set(shelf_names()))
    for unit in draft.units:
        if unit.type not in known:
            named = f"{', '.join(map(repr, sorted(own)))}, " if own else ""
            allowed = f"{named}or one of the shelf (`greaseroute explain types` lists it)"
            yield _fault(unit, "type", (unit.type, allowed, nearest_type(unit.type, known)))


def nearest_type(name: str, known: Sequence[str]) -> str:
    """What to do about a type that nothing carries: the nearest of its family and size, if any."""
    if difflib.get_close_matches(name.lower(), known, n=1, cutoff=SLIP):
        return near(name, known)
    words = {word for word in re.split(r"[^a-z]+", name.lower()) if len(word) > 2}
    kin = [k for k in known if words & set(k.split("-"))]
    if not kin:
        return near(name, known) or "add types/*.toml"
    tonnes = _tonnes(name) or 0.0
    best = min(kin, key=lambda k: (-len(words & set(k.split("-"))), abs(_tonnes(k) - tonnes), k))
    return f"the nearest is {best!r}; add types/*.toml for one of your own"


def _tonnes(name: str) -> float:
    """The size at the end of a type's name, 0 where it has none."""
    match = re.search(r"(\d{1,4}(?:\.\d{1,2})?) ?t\b", name.lower())
    return float(match[1]) if match else 0.0


def unknown_parts(draft: Draft) -> Iterator[Fault]:
    """Postures and attachments that the type does not have."""
    for unit in draft.units:
        machine = draft.types.get(unit.type)
        if machine is None:
            continue
        yield from _attachment_faults(draft, unit, machine)
        postures = [p.name for p in draft.fitted.get(unit.unit, machine).postures]
        if unit.posture not in postures:
            texts = unknown_name(unit.posture, postures, define="add it to the type")
            yield _fault(unit, "posture", (unit.posture, *texts))


def _attachment_faults(draft: Draft, unit: Unit, machine: MachineType) -> Iterator[Fault]:
    """An attachment nobody knows, one that does not fit its carrier or cannot be set down."""
    if unit.unit in draft.fitted or not unit.attachments:
        return
    try:
        hung(machine, unit.attachments, on_hand=draft.attachments)
    except UnknownName as error:
        own = [a.name for a in machine.attachments]
        named = {name for name in unit.attachments if not called(name, draft.attachments)}
        for name in sorted(named - set(own)):
            known = [*own, *fitting_names(machine, draft.attachments)]
            texts = unknown_name(name, known, define="take it out")
            yield _fault(unit, "attachments", (name, *texts))
        if named <= set(own):
            yield _fault(unit, "attachments", (error.value, error.limit, error.next_step))
    except PostureRefused as error:
        yield _fault(unit, "attachments", (error.value, error.limit, error.next_step))


def unknown_severities(draft: Draft) -> Iterator[Fault]:
    """A severity that ``site.toml`` does not define."""
    if not draft.settings.text.data:
        return  # the file itself is missing or broken, which is told already
    known = draft.settings.names("severity")
    for unit in draft.units:
        if unit.severity is not None and unit.severity not in known:
            texts = unknown_name(unit.severity, known, define="add a [[severity]]")
            yield _fault(unit, "severity", (unit.severity, *texts))


def skills_nobody_has(draft: Draft) -> Iterator[Fault]:
    """A skill that a unit or one of its joints asks for and no technician has: once for each."""
    if not draft.settings.whole("technician"):
        return  # told where technicians are checked
    known = sorted({skill for t in draft.settings.good("technician") for skill in t.skills})
    seen = set(known)
    for unit in draft.units:
        machine = draft.fitted.get(unit.unit)
        asked = [("skill", unit.skill, unit.skill)]
        asked += [("type", unit.type, j.skill) for j in (machine.joints if machine else ())]
        for field, value, skill in asked:
            if skill is not None and skill not in seen:
                seen.add(skill)
                limit = f"{', '.join(known) or 'no skill'} (all that technicians have)"
                do = f"give {skill!r} to a technician in site.toml, or correct it"
                yield _fault(unit, field, (str(value), limit, do))


def backward_windows(draft: Draft) -> Iterator[Fault]:
    """A unit that leaves before it is parked."""
    for unit in draft.units:
        if unit.parked_from and unit.parked_to and unit.parked_to <= unit.parked_from:
            value = f"{unit.parked_to:%Y-%m-%d %H:%M}"
            allowed = f"after parked_from, {unit.parked_from:%Y-%m-%d %H:%M}"
            yield _fault(unit, "parked_to", (value, allowed, "the hours run backwards: correct it"))
        if unit.parked_from_clock and unit.parked_from_clock == unit.parked_to_clock:
            value = f"{unit.parked_to_clock:%H:%M}"
            yield _fault(unit, "parked_to", (value, "other than parked_from", "correct it"))


def fit_units(draft: Draft) -> dict[str, MachineType]:
    """The type of every unit with its attachments, where all are known and fit."""
    fitted: dict[str, MachineType] = {}
    made: dict[tuple[str, tuple[str, ...]], MachineType | None] = {}
    for unit in draft.units:
        key = (unit.type, unit.attachments)
        if key not in made:
            made[key] = _fitted(draft, *key)
        machine = made[key]
        if machine is not None:
            fitted.setdefault(unit.unit, machine)
    return fitted


def _fitted(draft: Draft, type_name: str, attachments: tuple[str, ...]) -> MachineType | None:
    machine = draft.types.get(type_name)
    if machine is None:
        return None
    try:
        return hung(machine, attachments, on_hand=draft.attachments)
    except GreaserouteError:
        return None  # told where the parts of units are checked


def place_units(draft: Draft) -> tuple[dict[str, PlacedMachine], list[Fault]]:
    """Put every unit of a known type on the site; a posture it cannot take is a fault."""
    placed: dict[str, PlacedMachine] = {}
    faults: list[Fault] = []
    for unit in draft.units:
        machine = draft.fitted.get(unit.unit)
        known = machine is not None and unit.posture in {p.name for p in machine.postures}
        if machine is None or not known or unit.unit in placed or draft.plane is None:
            continue
        pose = Pose(unit.x_m, unit.y_m, unit.heading_deg, unit.slew_deg)
        try:
            placed[unit.unit] = place(machine, pose, posture=unit.posture)
        except GreaserouteError as error:
            texts = (f"{unit.posture}: {error.value}", error.limit, error.next_step)
            faults.append(_fault(unit, "posture", texts))
    return placed, faults


def outside_boundary(draft: Draft, plan: GroundPlan, plane: LocalPlane) -> Iterator[Fault]:
    """A unit outside the boundary, or part of one; says where coordinates look swapped."""
    columns = "lon, lat" if plane.system == "lon/lat" else "x_m, y_m"
    rim = plan.boundary.buffer(EDGE_M)
    allowed = "inside the boundary"
    for unit in draft.units:
        at = (unit.x_m, unit.y_m)
        x, y = plane.to_source(np.array([at], dtype=float))[0]
        written = f"{x:.7g}, {y:.7g}"
        if not rim.covers(Point(at)):
            away_m = plan.boundary.distance(Point(at))
            do = f"it lies {away_m:.1f} m outside: correct it"
            if is_swapped(plan, plane, at):
                do = "the two look swapped: exchange them"
            yield _fault(unit, columns, (written, allowed, do))
        elif unit.unit in draft.placed:
            out_m2 = draft.placed[unit.unit].outline.difference(rim).area
            if out_m2 > TOUCH_M2:
                value = f"{out_m2:.1f} m2 of it outside"
                yield _fault(unit, columns, (value, allowed, "move or turn it"))


def on_closed_ground(draft: Draft, plan: GroundPlan) -> Iterator[Fault]:
    """A unit in a pond, a stockpile, a zone closed for good, or on a haul road."""
    always_closed = [z for z in plan.no_go if not z.hours]
    areas = [*plan.obstacles, *always_closed, *plan.haul_roads]
    if not areas:
        return
    tree = STRtree([a.polygon for a in areas])
    for unit, machine in draft.standing():
        for number in sorted(tree.query(machine.outline, predicate="intersects")):
            shared_m2 = areas[number].polygon.intersection(machine.outline).area
            if shared_m2 > TOUCH_M2:
                yield _on_area(unit, areas[number], shared_m2)


def _on_area(unit: Unit, area: Area, shared_m2: float) -> Fault:
    value = f"{shared_m2:.1f} m2 of it on {area.role.replace('_', ' ')} {area.name}"
    allowed = f"clear of {area.name} (ground.geojson:{area.line})"
    return _fault(unit, "position", (value, allowed, "move it, or correct the ground plan"))


def across_barriers(draft: Draft, plan: GroundPlan) -> Iterator[Fault]:
    """A unit that stands across a fence, a wall or a bench edge."""
    for unit, machine in draft.standing():
        inner = machine.outline.buffer(-EDGE_M)
        for barrier in plan.barriers:
            if inner.intersection(barrier.line_string).length > EDGE_M:
                value = f"across barrier {barrier.name}"
                allowed = f"on one side of it (ground.geojson:{barrier.line})"
                yield _fault(unit, "position", (value, allowed, "move it, or correct the barrier"))


def overlapping(draft: Draft) -> Iterator[Fault]:
    """Machines on top of each other; told on the line of the later one."""
    standing = list(draft.standing())
    outlines: Sequence[Polygon] = [m.outline for _, m in standing]  # type: ignore[misc]
    tree = STRtree(outlines)
    for later, (unit, machine) in enumerate(standing):
        for earlier in sorted(tree.query(machine.outline, predicate="intersects")):
            if earlier >= later:
                continue
            shared_m2 = outlines[earlier].intersection(machine.outline).area
            if shared_m2 > TOUCH_M2:
                other = standing[earlier][0]
                value = f"shares {shared_m2:.1f} m2 of ground with unit {other.unit}"
                allowed = f"clear of it (fleet.csv:{other.line})"
                yield _fault(unit, "position", (value, allowed, "correct one of the two"))


def _fault(unit: Unit, field: str, texts: tuple[str, str, str]) -> Fault:
    """A fault on a unit's line; ``texts`` are value, allowed and what to do."""
    return Fault(FLEET, unit.line, f"unit {unit.unit}", field, *texts)
