"""The site map: ground, machines, the walking line with numbered stops, legend, scale, north."""

import itertools
from collections.abc import Iterable

import numpy as np
import shapely
from shapely.geometry import LineString, Polygon
from shapely.geometry.base import BaseGeometry

from greaseroute.drawings import map_ground, map_walk
from greaseroute.drawings.labels import Label, LabelField, Spot
from greaseroute.drawings.map_ground import GroundName
from greaseroute.drawings.map_legend import entries, legend
from greaseroute.drawings.map_walk import Marked
from greaseroute.drawings.svg import Point2, View, num, picture, scale_bar, tag, text_width, words
from greaseroute.plan.round import RoundPlan
from greaseroute.plan.tally import numbered
from greaseroute.site.model import Site
from greaseroute.site.placed_units import outlines
from greaseroute.texts.language import Language

WIDTH_PX = 760.0
HEIGHT_PX = (320.0, 1000.0)
EDGE_PX = 26.0
TITLE_PX = 26.0
SMALL_PX = 9.5
ROW_PX = 11.0
MACHINE_EDGE_PX = 3.0  # kept free round a machine if there is room, so that it is seen
NEAR_PX = 14.0  # a name this close to its place needs no leader
FARTHEST_NAME_PX = 60.0  # a name further off would name something else
STYLE = (map_ground.STYLE + map_walk.STYLE).replace("\n", "")


def map_svg(site: Site, plan: RoundPlan | None = None, *, width_px: float = WIDTH_PX) -> str:
    """The map as one SVG document; without a plan it shows ground and machines only.

    Texts keep their size: in a map of fewer ``width_px`` they are larger beside the ground.
    """
    view, height = map_view(site.ground.boundary, width_px)
    marked = _marked(plan, outlines(site))
    body = [tag("rect", width=width_px, height="100%", fill="#fff")]
    leaving = plan.leaving if plan else ()
    body += [map_ground.ground_layers(site.ground, view)]
    body += [map_ground.way_out(Polygon(each.ground), view) for each in leaving]
    body += [map_walk.machines(marked, view)]
    body += [
        map_walk.walk_line(technician, index, view)
        for index, technician in enumerate(plan.technicians if plan else ())
    ]
    body += _labels(site, plan, view=view, size=(width_px, height), marked=marked)
    body += [words(title(site, plan), (14, 18), class_="gm-t", font_size=13.0, font_weight="700")]
    key, key_height = legend(entries(site.ground, plan, site.say), top=height + 8, width=width_px)
    return picture(
        "".join([*body, key]),
        size=(width_px, height + key_height + 18),
        label=title(site, plan),
        style=STYLE,
    )


def title(site: Site, plan: RoundPlan | None) -> str:
    """What the map shows, in one line."""
    if plan is None:
        return site.name
    say = site.say
    return say("map.title", site=site.name, day=say.day(plan.at), clock=say.clock(plan.at))


def map_view(boundary: BaseGeometry, width_px: float = WIDTH_PX) -> tuple[View, float]:
    """A view that shows the whole boundary, and the height of the map without its legend."""
    left, bottom, right, top = boundary.bounds
    room = (width_px - 2 * EDGE_PX, HEIGHT_PX[1] - 2 * EDGE_PX - TITLE_PX)
    scale = min(room[0] / (right - left), room[1] / (top - bottom))
    height = max(HEIGHT_PX[0], (top - bottom) * scale + 2 * EDGE_PX + TITLE_PX)
    x = (width_px - (right - left) * scale) / 2
    y = TITLE_PX + (height - TITLE_PX - (top - bottom) * scale) / 2
    return View(left, top, scale, (x, y)), height


def _marked(plan: RoundPlan | None, shapes: dict[str, BaseGeometry]) -> tuple[Marked, ...]:
    """Every machine, those visited first and in the order of their stops."""
    visited: dict[str, Marked] = {}
    for walk, (_, stops) in enumerate(numbered(plan) if plan else ()):
        for numbered_stop in stops:
            unit = numbered_stop.stop.unit
            if unit in shapes and not numbered_stop.stop.reload:
                visited.setdefault(unit, Marked(unit, shapes[unit], numbered_stop.label, walk))
    rest = (Marked(unit, shape) for unit, shape in shapes.items() if unit not in visited)
    return (*visited.values(), *rest)


def _labels(
    site: Site, plan: RoundPlan | None, *, view: View, size: Point2, marked: tuple[Marked, ...]
) -> list[str]:
    """Places and stop numbers first, then what must be read before entering, then the rest."""
    field = LabelField(size, avoid_lines=_avoided(site, plan, view=view, marked=marked))
    field.block((0, 0, size[0], TITLE_PX))
    compass = _compass((size[0] - 13, 46.0))
    field.block((size[0] - EDGE_PX, TITLE_PX, size[0], 76))
    bar = scale_bar(view.scale, at=(16, size[1] - 8), longest=150, class_="gm-t gm-small")
    field.block((0, size[1] - 26, 180, size[1]))
    roles = _roles(plan, site.say)
    named = map_walk.places(site.ground.places, view, field=field, roles=roles)
    visited = [machine for machine in marked if machine.label]
    spots = map_walk.stop_numbers(visited, view, field)
    warned, rest = map_ground.warnings(site.ground), map_ground.ground_names(site.ground)
    parts = [_ground_texts(warned, view, field), map_walk.stop_labels(visited, spots, field)]
    others = [machine for machine in marked if not machine.label]
    parts.append(map_walk.other_labels(others, view, field))
    return [_ground_texts(rest, view, field), compass, bar, named, *parts]


def _avoided(
    site: Site, plan: RoundPlan | None, *, view: View, marked: tuple[Marked, ...]
) -> list[BaseGeometry]:
    """What labels should not hide: walking lines and fences, piece by piece, and machines."""
    shapes: list[BaseGeometry] = []
    runs = [np.array(technician.path) for technician in plan.technicians] if plan else []
    runs += [shapely.get_coordinates(barrier.line_string) for barrier in site.ground.barriers]
    for run in runs:
        points = [view(x, y) for x, y in run]
        shapes += [LineString(pair) for pair in itertools.pairwise(points)]
    for machine in marked:
        ring = shapely.get_coordinates(machine.outline.convex_hull)
        shapes.append(Polygon([view(x, y) for x, y in ring]).buffer(MACHINE_EDGE_PX))
    return shapes


def _ground_texts(names: Iterable[GroundName], view: View, field: LabelField) -> str:
    """Names of areas, crossings and gates near their middle; left out where there is no room."""
    parts = []
    for name in names:
        rows = name.text.split("\n")
        size = (max(text_width(row, SMALL_PX) for row in rows), ROW_PX * len(rows))
        clear = name.clear_m * view.scale + (0.0 if name.inside else 5.0)
        spot = field.place(Label(view(*name.at_m), *size, clear, centred=name.inside))
        if spot is not None and spot.leader_length < FARTHEST_NAME_PX:
            parts += _name_rows(rows, spot)
    return "".join(parts)


def _name_rows(rows: list[str], spot: Spot) -> list[str]:
    """The rows of a name, with a leader where it stands well off its place."""
    x, top = spot.middle[0], spot.box[1]
    lead = [map_walk.lead(spot)] if spot.leader_length > NEAR_PX else []
    return lead + [
        words(row, (x, top + ROW_PX * k + SMALL_PX - 0.5), class_="gm-t gm-small gm-halo")
        for k, row in enumerate(rows)
    ]


def _roles(plan: RoundPlan | None, say: Language) -> dict[str, str]:
    """What each place is to the walk: start, finish or both."""
    roles: dict[str, list[str]] = {}
    for technician in plan.technicians if plan else ():
        for place, role in ((technician.start_place, "start"), (technician.finish_place, "finish")):
            if role not in roles.setdefault(place, []):
                roles[place].append(role)
    return {
        place: say.listed(say(f"map.{role}") for role in found)
        for place, found in roles.items()
        if place
    }


def _compass(at: Point2) -> str:
    """An arrow to the north (the top of the map) with its letter."""
    x, y = at
    arrow = f"M{num(x)} {num(y - 16)}L{num(x + 6)} {num(y + 12)}L{num(x)} {num(y + 6)}"
    half = tag("path", d=arrow + "Z", fill="#222")
    other = f"M{num(x)} {num(y - 16)}L{num(x - 6)} {num(y + 12)}L{num(x)} {num(y + 6)}Z"
    letter = words("N", (x, y + 25), class_="gm-t gm-place")
    return half + tag("path", d=other, fill="#fff", stroke="#222", stroke_width=".9") + letter
