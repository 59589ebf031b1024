"""Machine types and units on paper: numbered views, the list they number, and all in one sheet."""

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass, replace

from shapely.geometry import box
from shapely.ops import unary_union

from greaseroute.cards.card_model import lettered
from greaseroute.catalogue.kinematics.placed import PlacedMachine, Pose, place
from greaseroute.catalogue.machine_type import MachineType
from greaseroute.drawings.drawing import STYLE, Scene, scene, side_view, top_view
from greaseroute.drawings.drawing_marks import Mark, MarkKind, StandMark
from greaseroute.drawings.svg import num, picture, tag, text_width, words
from greaseroute.site.reach import Reach
from greaseroute.stands.candidates import unit_stands, wanted_fittings
from greaseroute.stands.stand import Stand
from greaseroute.texts.language import ENGLISH, Language
from greaseroute.walk.footprint import closed_ground

HOSE_M = 0.254  # the default whip hose of a gun
CLEARANCE_M = 0.25  # the default distance kept from closed ground
CELL_PX = (440.0, 550.0)
COLUMNS = 4


@dataclass(frozen=True, slots=True)
class NumberedFitting:
    """One line of the list below a drawing."""

    label: str
    joint: str
    fitting: str
    interval: str
    note: str
    kind: MarkKind


def numbered_fittings(
    machine: PlacedMachine, say: Language = ENGLISH
) -> tuple[NumberedFitting, ...]:
    """Every fitting in the catalogue's order: 1, 2, 3; ``no`` never pumped; L1, L2 checked only."""
    rows, pump, look = [], 0, 0
    family = machine.machine_type.family
    for placed in machine.fittings:
        joint = placed.joint
        label, note = "no", say("show.never")
        kind: MarkKind = "never"
        if joint.central:
            look += 1
            label, kind, note = f"L{look}", "look", say("show.central")
        elif not joint.never_pump:
            pump += 1
            label, kind, note = str(pump), "pump", ""
        rows.append(
            NumberedFitting(
                label,
                say.name(joint.name, family),
                say.name(placed.fitting.name, family),
                say.sentence(joint.interval_class),
                note,
                kind,
            )
        )
    return tuple(rows)


def numbered_scene(machine: PlacedMachine, *, north: bool = True) -> Scene:
    """The machine with every fitting numbered and stands that reach all that can be reached.

    ``north=False`` leaves the north arrow out, for a type that stands nowhere.
    """
    rows = numbered_fittings(machine)
    marks = [
        Mark(row.label, placed.at_m, row.kind)
        for row, placed in zip(rows, machine.fittings, strict=True)
    ]
    shown = scene(machine, marks=marks, stands=_stands(machine))
    return shown if north else replace(shown, heading_deg=None)


def _stands(machine: PlacedMachine) -> list[StandMark]:
    """Stands for a technician of default reach if the machine stood alone on open ground."""
    hoses = {
        (f.joint.name, f.fitting.name): HOSE_M
        for f in machine.fittings
        if f.joint.by_hand and f.fitting.takes is None
    }
    closed = closed_ground(machine)
    left, bottom, right, top = machine.outline.bounds
    open_ground = box(left - 5, bottom - 5, right + 5, top + 5)
    found = unit_stands(
        machine,
        wanted_fittings(machine, hoses),
        closed=closed,
        free=open_ground.difference(unary_union(closed).buffer(CLEARANCE_M)),
        clearance_m=CLEARANCE_M,
        reach=Reach(),
    )
    return [
        StandMark(letter, (stand.x_m, stand.y_m), raised=stand.deck is not None)
        for letter, stand in zip(lettered(), _few(found.stands), strict=False)
    ]


def _few(stands: Sequence[Stand]) -> list[Stand]:
    """Few stands that between them serve all that the given ones serve (greedy set cover)."""
    chosen: list[Stand] = []
    missing = {index for stand in stands for index in stand.serves}
    while missing:
        best = max(stands, key=lambda stand: len(missing & set(stand.serves)))
        chosen.append(best)
        missing -= set(best.serves)
    return chosen


def type_at_home(machine_type: MachineType, *, posture: str) -> PlacedMachine:
    """A type by itself, front to the east. Raises UnknownName or PostureRefused."""
    return place(machine_type, Pose(0.0, 0.0, 90.0), posture=posture)


def contact_sheet(types: Sequence[MachineType], *, posture: str) -> str:
    """Side and top view of every type in one picture, each cell with name and mass."""
    rows = math.ceil(len(types) / COLUMNS)
    cells = [
        _cell(kind, (CELL_PX[0] * (k % COLUMNS), CELL_PX[1] * (k // COLUMNS)), posture=posture)
        for k, kind in enumerate(types)
    ]
    size = (CELL_PX[0] * min(COLUMNS, len(types)), CELL_PX[1] * rows)
    paper = tag("rect", width="100%", height="100%", fill="#fff")
    label = f"{len(types)} machine types, {posture}, from the right side and from above"
    return picture(paper + "".join(cells), size=size, label=label, style=STYLE)


def _cell(machine_type: MachineType, corner: tuple[float, float], *, posture: str) -> str:
    shown = numbered_scene(type_at_home(machine_type, posture=posture), north=False)
    x, y = corner
    mass = f"{machine_type.name}, {machine_type.operating_mass_kg / 1000:.1f} t"
    size = min(15.0, 15.0 * (CELL_PX[0] - 30) / text_width(machine_type.title, 15.0))
    style = f"text-anchor:start;font-weight:700;font-size:{num(size)}px"
    head = words(machine_type.title, (x + 14, y + 24), class_="m-t", style=style)
    under = words(mass, (x + 14, y + 40), class_="m-t", style="text-anchor:start")
    frame = {"x": num(x + 5), "y": num(y + 5), "rx": "6", "fill": "none", "stroke": "#bbb"}
    edge = tag("rect", width=CELL_PX[0] - 10, height=CELL_PX[1] - 10, **frame)
    side = _nested(side_view(shown, with_style=False), (x + 12, y + 48), height=236)
    top = _nested(top_view(shown, with_style=False), (x + 12, y + 290), height=246)
    return edge + head + under + side + top


def _nested(svg: str, corner: tuple[float, float], *, height: int) -> str:
    """A whole SVG document as a part of another, scaled into its place."""
    where = f'x="{num(corner[0])}" y="{num(corner[1])}" width="{num(CELL_PX[0] - 24)}" '
    fitted = re.sub(
        r' width="[^"]*" height="[^"]*" role', f' {where}height="{height}" role', svg, count=1
    )
    return fitted.strip()
