"""A machine from its right side and from above, with numbered fittings, stands and closed ground.

Both views have the machine's front to the right. Numbers are the fittings' own; round marks are
fittings, square ones stands, a cross is a place that is never pumped: shape tells, not colour.
"""

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from shapely.geometry import Point, Polygon
from shapely.geometry.base import BaseGeometry
from shapely.ops import unary_union

from greaseroute.catalogue.joint import Point3
from greaseroute.catalogue.kinematics.placed import PlacedMachine
from greaseroute.catalogue.machine_type import MachineType
from greaseroute.drawings.drawing_ground import PERSON_M, closed, ground_line, north, person, swing
from greaseroute.drawings.drawing_marks import DISC_PX, Mark, StandMark, numbers, stand
from greaseroute.drawings.machine_shapes import Projection, Shape, at_home, pins, shapes, silhouette
from greaseroute.drawings.svg import Box, Point2, View, area_data, picture, polygons, scale_bar, tag

WIDTH_PX = 380.0
TALLEST_PX = 300.0
EDGE_PX = 5.0
STRIP_PX = 22.0  # below everything, for the scale bar and the north arrow
MOST_PX_PER_M = 80.0
CUT_PX = (150.0, 90.0)  # least width and height of the part shown for one place
CUT_EDGE_PX = 16.0  # round its outermost mark

STYLE = (
    ".m-t{font-family:system-ui,-apple-system,'Segoe UI','DejaVu Sans',Arial,sans-serif;"
    "font-size:10.5px;fill:#111;text-anchor:middle}"
    ".m-s{stroke:#222;stroke-width:1.1;stroke-linejoin:round}"
    ".m-main{fill:#e8e4d8}.m-run,.m-wheel{fill:#8b8b8b}.m-i{stroke:#222;stroke-width:.7}.m-run-i{fill:#a9a9a9}"
    ".m-wheel-i{fill:#e8e4d8}.m-cab-i{fill:#d5e3ec}.m-cab{fill:#f7fafc}.m-cyl{fill:#b9b9b9;"
    "stroke-width:.7}.m-tool{fill:#cfcabd}.m-arm{fill:#dcd6c6}"
    ".m-lead{fill:none;stroke:#111;stroke-width:.7}"
    ".m-disc{fill:#fff;stroke:#111;stroke-width:1.1}"
    ".m-pin{fill:#fff;stroke:#222;stroke-width:.8}.m-fit{fill:#111;stroke:#fff;stroke-width:.8}"
    ".m-no{fill:none;stroke:#111;stroke-width:2.4}.m-noedge{fill:none;stroke:#fff;stroke-width:5}"
    ".m-hatch{fill:none;stroke:#8a7f66;stroke-width:.7}.m-ground{stroke:#444;stroke-width:1.2}"
    ".m-foot{fill:#111;stroke:#fff;stroke-width:.8}.m-foot-t{fill:#fff;font-weight:700}"
    ".m-deck{fill:#fff;stroke:#111;stroke-width:2}.m-deck-t{font-weight:700}"
    ".m-swing{fill:none;stroke:#444;stroke-width:1;stroke-dasharray:7 4}"
)


@dataclass(frozen=True, slots=True)
class PictureSize:
    """How large a machine is drawn at most; numbers and marks keep their size in every picture."""

    width_px: float = WIDTH_PX
    tallest_px: float = TALLEST_PX


CARD_SIZE = PictureSize()


@dataclass(frozen=True, slots=True)
class Scene:
    """What a view shows, all of it in the machine's own frame (x forward, y left, z up)."""

    home: PlacedMachine
    marks: tuple[Mark, ...] = ()
    stands: tuple[StandMark, ...] = ()
    heading_deg: float | None = None
    clearance_m: float = 0.25
    size: PictureSize = CARD_SIZE


def scene(
    machine: PlacedMachine | MachineType,
    *,
    marks: Iterable[Mark] = (),
    stands: Iterable[StandMark] = (),
    posture: str | None = None,
    clearance_m: float = 0.25,
    size: PictureSize = CARD_SIZE,
) -> Scene:
    """A scene of a machine type, or of a unit with marks and stands in site coordinates.

    ``clearance_m`` is kept from closed ground; ``posture`` is the one drawn: that of the unit,
    or ``parked`` for a type, unless given.
    Raises PostureRefused or UnknownName as `place` does.
    """
    if isinstance(machine, MachineType):
        home = at_home(machine, posture=posture or "parked", slew_deg=0.0)
        return Scene(home, tuple(marks), tuple(stands), None, clearance_m, size)
    home = at_home(machine, posture=posture or machine.posture, slew_deg=machine.pose.slew_deg)
    return Scene(
        home,
        tuple(Mark(m.label, _own(machine, m.at_m), m.kind) for m in marks),
        tuple(StandMark(s.label, _own(machine, (*s.at_m, 0.0))[:2], s.raised) for s in stands),
        machine.pose.heading_deg,
        clearance_m,
        size,
    )


def _own(machine: PlacedMachine, at_m: Point3) -> Point3:
    """A point of the site in the machine's own frame."""
    x, y, z, _ = (np.linalg.inv(machine.pose.frame) @ np.array([*at_m, 1.0])).tolist()
    return x, y, z


@dataclass(frozen=True, slots=True)
class Drawn:
    """A view as an SVG document, the whole picture's box, and where each mark's points are in it.

    ``points`` gives, by label, the places of the mark itself and of its number, or of the feet.
    """

    svg: str
    frame: Box
    points: dict[str, tuple[Point2, ...]]

    def cut(self, labels: Iterable[str]) -> Box:
        """Left, top, width and height of the part that shows these marks, and some way round."""
        shown = [point for label in labels for point in self.points.get(label, ())]
        left, top, right, bottom = self.frame
        if not shown:
            return left, top, right - left, bottom - top
        xs, ys = zip(*shown, strict=True)
        x, width = _stretch((min(xs), max(xs)), (left, right), CUT_PX[0])
        y, height = _stretch((min(ys), max(ys)), (top, bottom), max(CUT_PX[1], 0.5 * width))
        return x, y, width, height


def _stretch(span: Point2, limits: Point2, least: float) -> Point2:
    """Start and length of a span with its edge, at least ``least`` long, inside the limits."""
    length = min(max(span[1] - span[0] + 2 * CUT_EDGE_PX, least), limits[1] - limits[0])
    middle = (span[0] + span[1]) / 2
    return min(max(middle - length / 2, limits[0]), limits[1] - length), length


def side_view(shown: Scene, *, with_style: bool = True) -> str:
    """The machine from its right, standing on the ground, as an SVG document."""
    return drawn_side(shown, with_style=with_style).svg


def top_view(shown: Scene, *, with_style: bool = True) -> str:
    """The machine from above with stands, closed ground and swing circle, as an SVG document."""
    return drawn_top(shown, with_style=with_style).svg


def drawn_side(shown: Scene, *, with_style: bool = True) -> Drawn:
    """The machine from its right, with the places of its marks."""
    found = shapes(shown.home, "side")
    outline = silhouette(found)
    left, _, right, top = outline.bounds
    bounds = (left - 1.2, -0.12, right + 0.2, max(top, PERSON_M) + 0.1)
    project = Projection("side", _view(bounds, shown.size))
    named = numbers(shown.marks, _in_picture(outline, project.view), project)
    frame = _frame(bounds, project.view, named.places)
    body = [ground_line(project.view, frame), person(left - 0.8, project.view)]
    body += [*_machine(shown.home, found, project), *named.parts]
    svg = _document(shown, body, project, frame=frame, with_style=with_style)
    return Drawn(svg, frame, _points(shown.marks, named.places, project))


def _points(
    marks: Iterable[Mark], places: Iterable[Point2], project: Projection
) -> dict[str, tuple[Point2, ...]]:
    """By label, the point of each mark and the middle of its number."""
    return {
        mark.label: (project(mark.at_m), place)
        for mark, place in zip(marks, places, strict=True)
        if mark.kind != "never"
    }


def drawn_top(shown: Scene, *, with_style: bool = True) -> Drawn:
    """The machine from above, with the places of its marks and of the feet."""
    found = shapes(shown.home, "top")
    outline = silhouette(found)
    kept_clear = outline.buffer(shown.clearance_m)
    around = unary_union([kept_clear, *(Point(s.at_m).buffer(0.3) for s in shown.stands)])
    project = Projection("top", _view(around.bounds, shown.size))
    feet = [project.view(*mark.at_m) for mark in shown.stands]
    silhouette_px = _in_picture(outline, project.view)
    named = numbers(shown.marks, silhouette_px, project, keep_out=feet)
    frame = _frame(around.bounds, project.view, named.places)
    body = [
        closed(shown.home, project.view, clearance_m=shown.clearance_m),
        swing(shown.home, project.view),
    ]
    body += [*_machine(shown.home, found, project), *named.parts]
    body += [stand(mark, project.view) for mark in shown.stands]
    if shown.heading_deg is not None:
        body.append(north(shown.heading_deg, (frame[2] - 20, frame[3] - 20)))
    svg = _document(shown, body, project, frame=frame, with_style=with_style)
    points = _points(shown.marks, named.places, project)
    points |= {m.label: (at,) for m, at in zip(shown.stands, feet, strict=True)}
    return Drawn(svg, frame, points)


def _document(
    shown: Scene, body: list[str], project: Projection, *, frame: Box, with_style: bool
) -> str:
    left, top, right, bottom = frame
    paper = tag("rect", x=left, y=top, width=right - left, height=bottom - top, fill="#fff")
    bar = scale_bar(project.view.scale, at=(left + 8, bottom - 5), longest=90, class_="m-t")
    seen = "from the right side" if project.seen == "side" else "from above"
    return picture(
        "".join([paper, *body, bar]),
        size=(right - left, bottom - top),
        corner=(left, top),
        label=f"{shown.home.machine_type.title}, {shown.home.posture}, {seen}, front to the right",
        style=STYLE if with_style else "",
    )


def _view(bounds: Box, size: PictureSize) -> View:
    """A view in which the bounds (left, bottom, right, top in metres) fill width or height."""
    left, bottom, right, top = bounds
    scale = min(size.width_px / (right - left), size.tallest_px / (top - bottom), MOST_PX_PER_M)
    return View(left, top, scale)


def _frame(bounds: Box, view: View, places: Iterable[Point2]) -> Box:
    """Left, top, right and bottom of a picture that holds the bounds and every number."""
    left, bottom, right, top = bounds
    corners = [view(left, top), view(right, bottom)]
    discs = [(x + s * DISC_PX, y + s * DISC_PX) for x, y in places for s in (-1, 1)]
    xs, ys = zip(*corners, *discs, strict=True)
    return (
        min(xs) - EDGE_PX,
        min(ys) - EDGE_PX,
        max(xs) + EDGE_PX,
        max(ys) + EDGE_PX + STRIP_PX,
    )


def _machine(home: PlacedMachine, found: list[Shape], project: Projection) -> list[str]:
    """Shapes from far to near, then the pins on them."""
    parts = [_drawn(shape, project.view) for shape in found]
    flat = (project(pin) for pin in pins(home))
    places = sorted({(round(x, 1), round(y, 1)) for x, y in flat})
    return parts + [tag("circle", cx=x, cy=y, r="2.1", class_="m-pin") for x, y in places]


def _drawn(shape: Shape, view: View) -> str:
    body = tag("path", d=area_data(shape.outline, view), class_=f"m-s {shape.tone}")
    if shape.inside is None:
        return body
    return body + tag("path", d=area_data(shape.inside, view), class_=f"m-i {shape.tone}-i")


def _in_picture(area: BaseGeometry, view: View) -> BaseGeometry:
    """An area without its holes, in the picture."""
    return unary_union(
        [Polygon([view(x, y) for x, y in polygon.exterior.coords]) for polygon in polygons(area)]
    )
