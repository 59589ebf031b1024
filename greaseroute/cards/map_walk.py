"""The walk on the site map: lines with direction, machines, numbered stops, places."""

import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from shapely.geometry import LineString
from shapely.geometry.base import BaseGeometry

from greaseroute.cards.labels import Label, LabelField, Spot, boxed, crowded_first
from greaseroute.cards.svg import Point2, View, area_data, line_data, num, tag, text_width, words
from greaseroute.rounds.plan import TechnicianPlan
from greaseroute.site.ground_plan import Place

STYLE = """
.gm-seen{fill:#3d3d3d;stroke:#111;stroke-width:.8}
.gm-other{fill:#fff;stroke:#777;stroke-width:.9}
.gm-lead{stroke:#111;stroke-width:.8;fill:none}
.gm-no{font-size:11.5px;font-weight:700;fill:#fff;text-anchor:middle}
.gm-unit{font-size:10.5px;font-weight:600}
.gm-small{font-size:9.5px;font-style:italic;text-anchor:middle}
.gm-place{font-size:11px;font-weight:700;text-anchor:middle}
"""
# Each technician has a tone, a dash pattern and a letter, so that no one needs the tones.
TONES = ("#0b3c6f", "#a8480f", "#1e6b4a", "#6a3d7c", "#5b5b00", "#8c1d40")
DASHES = (None, "9 4", "2.5 3.5", "12 4 2 4", "6 2", "1.5 2.5")
ARROW_EVERY_PX = 70.0
ARROW_PX = 5.2
NUMBER_PX = 11.5
UNIT_PX = 10.5
PILL_PX = 17.0


@dataclass(frozen=True, slots=True)
class Marked:
    """A machine on the map: its outline, its name, and the stop's label where it is visited."""

    unit: str
    outline: BaseGeometry
    label: str = ""
    walk: int = 0


def walk_line(technician: TechnicianPlan, index: int, view: View) -> str:
    """The walking line of one technician, on a white edge, with arrow heads along it."""
    if len(technician.path) < 2:
        return ""
    tone, dash = TONES[index % len(TONES)], DASHES[index % len(DASHES)]
    data = line_data(technician.path, view)
    join = {"fill": "none", "stroke_linejoin": "round"}
    edge = tag("path", d=data, stroke="#fff", stroke_width="4.6", **join)
    line = tag("path", d=data, stroke=tone, stroke_width="2.2", stroke_dasharray=dash, **join)
    heads = "".join(_arrow_heads([view(x, y) for x, y in technician.path]))
    return edge + line + (tag("path", d=heads, fill=tone) if heads else "")


def _arrow_heads(points: list[Point2]) -> Iterator[str]:
    """Arrow heads at even steps along a line of the picture."""
    line = LineString(points)
    for k in range(math.floor(line.length / ARROW_EVERY_PX + 0.5)):
        along = (k + 0.5) * ARROW_EVERY_PX
        back, tip = line.interpolate(along - 1.0), line.interpolate(along)
        yield _arrow_head((tip.x, tip.y), math.atan2(tip.y - back.y, tip.x - back.x))


def _arrow_head(tip: Point2, angle: float) -> str:
    corners = [(tip[0] + ARROW_PX * math.cos(angle), tip[1] + ARROW_PX * math.sin(angle))]
    for turn in (2.5, -2.5):
        x = tip[0] + ARROW_PX * math.cos(angle + turn)
        corners.append((x, tip[1] + ARROW_PX * math.sin(angle + turn)))
    return "M" + "L".join(f"{num(x)} {num(y)}" for x, y in corners) + "Z"


def machines(marked: Iterable[Marked], view: View) -> str:
    """Outlines from above: dark where visited, hollow where not."""
    return "".join(
        tag(
            "path",
            d=area_data(machine.outline, view),
            class_="gm-seen" if machine.label else "gm-other",
            fill_rule="evenodd",
        )
        for machine in marked
    )


def stop_labels(marked: Iterable[Marked], view: View, field: LabelField) -> str:
    """One label a machine: stop number and name, or the number alone where room is short."""
    parts = []
    machines_ = tuple(marked)
    for group in ([m for m in machines_ if m.label], [m for m in machines_ if not m.label]):
        middles = [machine.outline.centroid for machine in group]
        at = [view(middle.x, middle.y) for middle in middles]
        for k in crowded_first(at):
            left, bottom, right, top = group[k].outline.bounds
            clear = 0.5 * min(right - left, top - bottom) * view.scale
            parts.append(_stop_label(group[k], field, at=at[k], clear=clear))
    return "".join(parts)


def _stop_label(machine: Marked, field: LabelField, *, at: Point2, clear: float) -> str:
    if not machine.label:
        width = text_width(machine.unit, UNIT_PX) + 2
        spot = field.place(Label(at, width, UNIT_PX + 2, clear))
        return _name_only(machine, spot) if spot else ""
    number = _number_width(machine.label)
    whole = Label(at, number + text_width(machine.unit, UNIT_PX) + 7, PILL_PX, clear)
    short = Label(at, number, PILL_PX, clear)
    if spot := field.place(whole):
        return _pill(machine, spot, named=True)
    # A stop without its number would be lost: leaders may cross, or it sits on its machine.
    spot = field.place(short) or field.place(short, crossing=True) or boxed(short, at)
    return _pill(machine, spot, named=False)


def _number_width(label: str) -> float:
    return max(PILL_PX, text_width(label, NUMBER_PX) + 6)


def lead(spot: Spot) -> str:
    """The line from a label to what it names."""
    if spot.leader is None:
        return ""
    (x0, y0), (x1, y1) = spot.leader
    return tag("path", d=f"M{num(x0)} {num(y0)}L{num(x1)} {num(y1)}", class_="gm-lead")


def _name_only(machine: Marked, spot: Spot) -> str:
    x, y = spot.middle
    name = words(machine.unit, (x, y + 3.6), class_="gm-t gm-small gm-halo")
    return lead(spot) + name


def _pill(machine: Marked, spot: Spot, *, named: bool) -> str:
    left, top, right, bottom = spot.box
    number = _number_width(machine.label)
    tone = TONES[machine.walk % len(TONES)]
    white = _rounded((left, top), width=right - left, fill="#fff")
    dark = _rounded((left, top), width=number, fill=tone)
    middle = (left + number / 2, bottom - 4.6)
    text = words(machine.label, middle, class_="gm-t gm-no")
    name = words(machine.unit, (left + number + 3, bottom - 4.8), class_="gm-t gm-unit")
    return lead(spot) + (white if named else "") + dark + text + (name if named else "")


def _rounded(corner: Point2, *, width: float, fill: str) -> str:
    x, y = corner
    shape = {"rx": num(PILL_PX / 2), "stroke": "#111", "stroke_width": ".9", "fill": fill}
    return tag("rect", x=x, y=y, width=width, height=PILL_PX, **shape)


def places(named: Iterable[Place], view: View, *, field: LabelField, roles: dict[str, str]) -> str:
    """Places: a square on its point with its name, and what ``roles`` says of it, beside it."""
    parts = []
    for place in named:
        x, y = view(place.point.x, place.point.y)
        mark = tag("rect", x=x - 4.5, y=y - 4.5, width="9", height="9", fill="#fff", stroke="#111")
        dot = tag("circle", cx=x, cy=y, r="2", fill="#111")
        text = f"{place.name}: {roles[place.name]}" if place.name in roles else place.name
        spot = field.place(Label((x, y), text_width(text, 11) + 2, 13, 10.0))
        field.block((x - 6, y - 6, x + 6, y + 6))
        parts += [mark, dot, _place_name(text, spot) if spot else ""]
    return "".join(parts)


def _place_name(name: str, spot: Spot) -> str:
    x, y = spot.middle
    line = lead(spot) if spot.leader_length > 14 else ""
    return line + words(name, (x, y + 4), class_="gm-t gm-place gm-halo")
