"""The walk on the site map: lines with direction, machines, numbered stops, places."""

import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from shapely.geometry import LineString
from shapely.geometry.base import BaseGeometry

from greaseroute.drawings.labels import Label, LabelField, Spot, boxed, crowded_first
from greaseroute.drawings.svg import Point2, View, area_data, line_data, num, tag, text_width, words
from greaseroute.plan.round import TechnicianPlan
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


def stop_labels(marked: Iterable[Marked], spots: Iterable[Spot], field: LabelField) -> str:
    """The stops at the spots of `stop_numbers`, with the units' names while there is room."""
    pairs = zip(marked, spots, strict=True)
    return "".join(_stop(machine, spot, field) for machine, spot in pairs)


def other_labels(marked: Iterable[Marked], view: View, field: LabelField) -> str:
    """Names of the machines that are not visited, while there is room."""
    others, parts = list(marked), []
    at, clears = _anchors(others, view)
    for k in crowded_first(at):
        width = text_width(others[k].unit, UNIT_PX) + 2
        spot = field.place(Label(at[k], width, UNIT_PX + 2, clears[k]))
        parts.append(_name_only(others[k], spot) if spot else "")
    return "".join(parts)


def _anchors(group: list[Marked], view: View) -> tuple[list[Point2], list[float]]:
    """The middle of each machine in the picture, and half its short side, kept clear."""
    at, clears = [], []
    for machine in group:
        middle = machine.outline.centroid
        left, bottom, right, top = machine.outline.bounds
        at.append(view(middle.x, middle.y))
        clears.append(0.5 * min(right - left, top - bottom) * view.scale)
    return at, clears


def stop_numbers(visited: list[Marked], view: View, field: LabelField) -> list[Spot]:
    """A spot for the number of every stop, close to its machine.

    Where room is short leaders cross, or the number sits on its machine: a stop without its
    number would be lost.
    """
    at, clears = _anchors(visited, view)
    spots: dict[int, Spot] = {}
    for k in crowded_first(at):
        label = Label(at[k], _number_width(visited[k].label), PILL_PX, clears[k])
        spots[k] = field.place(label) or field.place(label, crossing=True) or boxed(label, at[k])
    return [spots[k] for k in range(len(visited))]


def _stop(machine: Marked, spot: Spot, field: LabelField) -> str:
    """The number with the unit's name on the side that has room, or alone."""
    left, top, right, bottom = spot.box
    width = text_width(machine.unit, UNIT_PX) + 10
    sides = ((right, top, right + width, bottom), (left - width, top, left, bottom))
    claimed = field.claim(sides)
    whole = (min(left, claimed[0]), top, max(right, claimed[2]), bottom) if claimed else None
    tone = TONES[machine.walk % len(TONES)]
    dark = _rounded((left, top), width=right - left, fill=tone)
    text = words(machine.label, ((left + right) / 2, bottom - 4.6), class_="gm-t gm-no")
    if claimed is None or whole is None:
        return lead(spot) + dark + text
    white = _rounded((whole[0], top), width=whole[2] - whole[0], fill="#fff")
    start = claimed[0] + (4 if claimed[0] == right else 6)
    name = words(machine.unit, (start, bottom - 4.8), class_="gm-t gm-unit")
    return lead(spot) + white + dark + text + name


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
