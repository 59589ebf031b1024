"""A sketch of one leg: the way with its direction, and what lies beside it. North is up."""

import math
from collections.abc import Iterable, Sequence

import shapely
from shapely.geometry import LineString, Polygon, box
from shapely.geometry.base import BaseGeometry

from greaseroute.drawings.svg import (
    Point2,
    View,
    area_data,
    hatch_data,
    line_data,
    lines,
    num,
    picture,
    polygons,
    scale_bar,
    tag,
    words,
)
from greaseroute.site.ground_plan import GroundPlan

SIZE_PX = (320.0, 150.0)
EDGE_M = 6.0
LEAST_M = 24.0  # a leg shorter than this is not drawn larger
HEAD_PX = 11.0
COARSE_PX = 3.0  # hollows narrower than twice this are filled

STYLE = (
    ".l-road{fill:#d9d4c4;stroke:none}.l-thing{fill:#c9c9c9;stroke:#444;stroke-width:.8}"
    ".l-unit{fill:#fff;stroke:#444;stroke-width:1}.l-end{fill:#111;stroke:#111}"
    ".l-bars{fill:none;stroke:#111;stroke-width:2}.l-edge{fill:none;stroke:#444;stroke-width:1.4}"
    ".l-way{fill:none;stroke:#111;stroke-width:3.5;stroke-linejoin:round}"
    ".l-halo{fill:none;stroke:#fff;stroke-width:8;stroke-linejoin:round}"
    ".l-from{fill:#fff;stroke:#111;stroke-width:3}.l-gate{fill:#fff;stroke:#111;stroke-width:1.4}"
)


def leg_svg(
    line: Sequence[Point2],
    ground: GroundPlan,
    *,
    outlines: Iterable[BaseGeometry],
    end: BaseGeometry | None,
    label: str,
) -> str:
    """The leg as an SVG document; ``end`` is the outline of what it leads to, drawn full.

    ``outlines`` are those of the machines, near or not, ``label`` what is read out.
    """
    way = LineString(line if len(line) > 1 else [*line, *line])
    view, frame = _view(way if end is None else shapely.union_all([way, end]))
    parts = [*_ground(ground, frame, view)]
    parts += [_machine(o, frame, view, style="l-unit") for o in outlines if o.intersects(frame)]
    if end is not None:
        parts.append(_machine(end, frame, view, style="l-end"))
    parts += [*_way(way, view), *_furniture(view)]
    return picture("".join(parts), size=SIZE_PX, label=label)


def _view(shown: BaseGeometry) -> tuple[View, BaseGeometry]:
    """A view that shows a shape and some way round it, and the ground it shows."""
    left, bottom, right, top = shown.bounds
    width, height = SIZE_PX
    span = max(right - left + 2 * EDGE_M, (top - bottom + 2 * EDGE_M) * width / height, LEAST_M)
    scale = width / span
    x, y = (left + right) / 2 - span / 2, (bottom + top) / 2 + height / scale / 2
    return View(x, y, scale), box(x, y - height / scale, x + span, y)


def _area(area: BaseGeometry, frame: BaseGeometry, view: View, *, style: str) -> str:
    part = shapely.simplify(shapely.intersection(area, frame), 1.0 / view.scale)
    data = area_data(part, view)
    return tag("path", d=data, class_=style, fill_rule="evenodd") if data else ""


def _machine(outline: BaseGeometry, frame: BaseGeometry, view: View, *, style: str) -> str:
    """A machine without its hollows: a sketch shows where it stands, not what it is made of."""
    whole = outline.buffer(COARSE_PX / view.scale).buffer(-COARSE_PX / view.scale)
    filled = shapely.union_all([Polygon(part.exterior) for part in polygons(whole)])
    return _area(filled, frame, view, style=style)


def _ground(ground: GroundPlan, frame: BaseGeometry, view: View) -> list[str]:
    """Roads, closed things, crossings, fences and gates, as far as they are seen."""
    parts = [tag("rect", width=SIZE_PX[0], height=SIZE_PX[1], fill="#fff")]
    parts += [_area(a.polygon, frame, view, style="l-road") for a in ground.haul_roads]
    shut = (*ground.obstacles, *ground.no_go)
    parts += [_area(a.polygon, frame, view, style="l-thing") for a in shut]
    for area in ground.crossings:
        bars = hatch_data(area.polygon.intersection(frame), view, gap=6.0)
        parts.append(tag("path", d=bars, class_="l-bars") if bars else "")
    for barrier in ground.barriers:
        for run in lines(barrier.line_string.intersection(frame)):
            parts.append(tag("path", d=line_data(run.coords, view), class_="l-edge"))
    for gate in ground.gates:
        if gate.opening.intersects(frame):
            x, y = view(*gate.opening.centroid.coords[0])
            parts.append(tag("circle", cx=x, cy=y, r="5", class_="l-gate"))
    return parts


def _way(way: LineString, view: View) -> list[str]:
    """A ring where the leg begins, its line, and a head where it ends."""
    points = [view(x, y) for x, y in way.coords]
    (x0, y0), (x1, y1) = points[0], points[-1]
    begin = tag("circle", cx=x0, cy=y0, r="5.5", class_="l-from")
    if way.length * view.scale < HEAD_PX:
        return [begin]
    data = line_data(way.coords, view)
    back = next(p for p in reversed(points) if math.dist(p, points[-1]) > 1.0)
    turn = math.atan2(y1 - back[1], x1 - back[0])
    wings = [
        (x1 - HEAD_PX * math.cos(turn + s), y1 - HEAD_PX * math.sin(turn + s))
        for s in (0.45, -0.45)
    ]
    head = "M" + "L".join(f"{num(x)} {num(y)}" for x, y in ((x1, y1), *wings)) + "Z"
    halo = tag("path", d=data, class_="l-halo")
    return [halo, tag("path", d=data, class_="l-way"), tag("path", d=head, fill="#111"), begin]


def _furniture(view: View) -> list[str]:
    """Scale and north."""
    width, height = SIZE_PX
    arrow = tag("path", d=f"M{num(width - 14)} 6l6 18-6-5-6 5Z", fill="#111")
    letter = words("N", (width - 14, 36), class_="m-t")
    return [scale_bar(view.scale, at=(8, height - 6), longest=90, class_="m-t"), arrow, letter]
