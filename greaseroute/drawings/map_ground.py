"""The ground of the site map: what is closed, what is slow, where one may pass."""

import itertools
import math
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass

import shapely
from shapely.geometry import LineString, Point, Polygon
from shapely.geometry.base import BaseGeometry

from greaseroute.drawings.svg import View, area_data, hatch_data, line_data, lines, num, tag
from greaseroute.site.ground_plan import Area, Barrier, Gate, GroundPlan, Hours

STYLE = """
.gm-t{font-family:system-ui,-apple-system,'Segoe UI','DejaVu Sans',Arial,sans-serif;fill:#1a1a1a}
.gm-ground{fill:#fbf9f3;stroke:#555;stroke-width:1.6;stroke-dasharray:9 3 2 3}
.gm-obstacle{fill:#dcdad4;stroke:#77736a;stroke-width:1}
.gm-road{fill:#ece2cc;stroke:#a8946a;stroke-width:1}
.gm-slow{fill:#f3efe2;stroke:#a09a86;stroke-width:.8;stroke-dasharray:2 3}
.gm-shut{fill:#fff;stroke:#7a2b12;stroke-width:1.6}
.gm-out{fill:#a8946a;fill-opacity:.1;stroke:#7a2b12;stroke-width:1;stroke-dasharray:5 3 1 3}
.gm-h{fill:none;stroke-width:.7}
.gm-halo{stroke:#fff;stroke-width:3;stroke-linejoin:round;paint-order:stroke}
"""
POST_PX = 2.0
FENCE_STEP_PX = 9.0


def ground_layers(ground: GroundPlan, view: View) -> str:
    """Boundary, roads, slow ground, obstacles, closed zones, crossings, barriers and gates."""
    return "".join(
        [
            tag("path", d=area_data(ground.boundary, view), class_="gm-ground"),
            *(slow(area.polygon, view) for area in ground.slow_ground),
            *(road(area.polygon, view) for area in ground.haul_roads),
            *(obstacle(area.polygon, view) for area in ground.obstacles),
            *(shut(area.polygon, view) for area in ground.no_go),
            *(crossing(area.polygon, view) for area in ground.crossings),
            *(barrier(part, view) for part in _open_barriers(ground.barriers, ground.gates)),
            *(gate(opening.opening, view) for opening in ground.gates),
        ]
    )


def _hatched(area: Polygon, view: View, *, gap: float, angle_deg: float, stroke: str) -> str:
    bars = hatch_data(area, view, gap=gap, angle_deg=angle_deg)
    return tag("path", d=bars, class_="gm-h", stroke=stroke) if bars else ""


def slow(area: Polygon, view: View) -> str:
    """Slow ground: a pale field with level dashes."""
    bars = hatch_data(area, view, gap=7.0, angle_deg=0.0)
    dashes = tag("path", d=bars, class_="gm-h", stroke="#a09a86", stroke_dasharray="1 5")
    return tag("path", d=area_data(area, view), class_="gm-slow") + (dashes if bars else "")


def road(area: Polygon, view: View) -> str:
    """A haul road: sand-coloured, plain, edged."""
    return tag("path", d=area_data(area, view), class_="gm-road", fill_rule="evenodd")


def obstacle(area: Polygon, view: View) -> str:
    """An obstacle: grey with slanting lines."""
    slants = _hatched(area, view, gap=6.0, angle_deg=45.0, stroke="#aaa69c")
    return tag("path", d=area_data(area, view), class_="gm-obstacle", fill_rule="evenodd") + slants


def shut(area: Polygon, view: View) -> str:
    """A zone nobody enters: crossed lines both ways and a heavy edge."""
    return (
        tag("path", d=area_data(area, view), class_="gm-shut", fill_rule="evenodd")
        + _hatched(area, view, gap=6.0, angle_deg=45.0, stroke="#7a2b12")
        + _hatched(area, view, gap=6.0, angle_deg=-45.0, stroke="#7a2b12")
    )


def way_out(area: Polygon, view: View) -> str:
    """Ground that is traffic once a machine leaves: a tint, so that what lies under it is seen."""
    return tag("path", d=area_data(area, view), class_="gm-out")


def crossing(area: Polygon, view: View) -> str:
    """A crossing: white with broad bars across the way one walks."""
    bars = hatch_data(area, view, gap=5.0, angle_deg=_short_side_deg(area))
    edge = tag("path", d=area_data(area, view), fill="#fff", stroke="#222", stroke_width="1")
    return edge + tag("path", d=bars, fill="none", stroke="#222", stroke_width="2.2")


def _short_side_deg(area: Polygon) -> float:
    """Direction of the short side of a piece of ground, degrees from x towards y."""
    ring = shapely.get_coordinates(area.minimum_rotated_rectangle).tolist()
    (x0, y0), (x1, y1) = min(itertools.pairwise(ring), key=lambda side: math.dist(*side))
    return math.degrees(math.atan2(y1 - y0, x1 - x0))


def _open_barriers(barriers: Iterable[Barrier], gates: Iterable[Gate]) -> Iterator[LineString]:
    """Each barrier with its gates cut out, piece by piece."""
    openings = [gate.opening.buffer(0.3) for gate in gates]
    for line in barriers:
        left: BaseGeometry = line.line_string
        for opening in openings:
            left = left.difference(opening)
        yield from lines(left)


def barrier(line: LineString, view: View) -> str:
    """A fence, wall or edge: a line with small slanting strokes."""
    ticks = []
    step_m = FENCE_STEP_PX / view.scale
    for k in range(1, math.ceil(line.length / step_m)):
        x, y = view(*line.interpolate(k * step_m).coords[0])
        ticks.append(f"M{num(x - 2.4)} {num(y - 2.4)}l4.8 4.8m0-4.8l-4.8 4.8")
    stroke = {"fill": "none", "stroke": "#222"}
    rail = tag("path", d=line_data(line.coords, view), stroke_width="1.3", **stroke)
    return rail + (tag("path", d="".join(ticks), stroke_width=".9", **stroke) if ticks else "")


def gate(opening: LineString, view: View) -> str:
    """A gate: a gap between two round posts."""
    ends = [view(*point) for point in (opening.coords[0], opening.coords[-1])]
    posts = (
        tag("circle", cx=x, cy=y, r=POST_PX, fill="#fff", stroke="#222", stroke_width="1.3")
        for x, y in ends
    )
    return "".join(posts)


@dataclass(frozen=True, slots=True)
class GroundName:
    """A name to write on the ground, and where: inside an area, or ``clear_m`` off a point."""

    text: str
    at_m: tuple[float, float]
    inside: bool = True
    clear_m: float = 0.0


def warnings(ground: GroundPlan) -> tuple[GroundName, ...]:
    """What must be read before one enters: closed zones with their hours, crossings with waits."""
    zones = [GroundName(_shut_text(area), _inside(area.polygon)) for area in ground.no_go]
    return (
        *zones,
        *(_beside(_crossing_text(area), area.polygon) for area in ground.crossings),
    )


def ground_names(ground: GroundPlan) -> tuple[GroundName, ...]:
    """Names of obstacles, roads, slow ground and gates."""
    areas: tuple[tuple[tuple[Area, ...], Callable[[Area], str]], ...] = (
        (ground.obstacles, lambda area: area.name),
        (ground.haul_roads, lambda area: area.name),
        (ground.slow_ground, lambda area: f"{area.name}, slow"),
    )
    names = [
        GroundName(text(area), _inside(area.polygon)) for group, text in areas for area in group
    ]
    names += [_beside(gate.name, gate.opening) for gate in ground.gates]
    return tuple(name for name in names if name.text)


def _beside(text: str, shape: BaseGeometry) -> GroundName:
    """A name off a small thing, clear of its short half."""
    left, bottom, right, top = shape.bounds
    middle = shape.centroid
    clear_m = 0.5 * min(right - left, top - bottom)
    return GroundName(text, (middle.x, middle.y), inside=False, clear_m=clear_m)


def _inside(polygon: Polygon) -> tuple[float, float]:
    """The middle of an area where it lies inside, else a point that does."""
    middle: Point = polygon.centroid
    point = middle if polygon.contains(middle) else polygon.representative_point()
    return point.x, point.y


def _shut_text(area: Area) -> str:
    return "\n".join(filter(None, [area.name, "no entry", _hours(area.hours)]))


def _crossing_text(area: Area) -> str:
    wait = [f"wait {area.wait_s:.0f} s"] if area.wait_s else []
    closed = [f"shut {_hours(area.hours)}"] if area.hours else []
    return "\n".join([area.name or "crossing", *wait, *closed])


def _hours(hours: Iterable[Hours]) -> str:
    return ", ".join(f"{span.start:%H:%M} to {span.end:%H:%M}" for span in hours)
