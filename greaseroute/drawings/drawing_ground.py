"""What surrounds a drawn machine: ground line, a person for scale, closed ground, swing, north."""

import math

import numpy as np
from shapely.ops import unary_union

from greaseroute.catalogue.kinematics.placed import PlacedMachine
from greaseroute.drawings.svg import Box, Point2, View, area_data, hatch_data, num, tag, words
from greaseroute.walk.footprint import closed_ground

PERSON_M = 1.75


def ground_line(view: View, frame: Box) -> str:
    """The ground with slanting strokes below it."""
    left, _, right, _ = frame
    _, y = view(0.0, 0.0)
    strokes = "".join(f"M{num(x)} {num(y)}l-5 6" for x in np.arange(left + 6, right, 14.0))
    line = tag("path", d=f"M{num(left)} {num(y)}H{num(right)}", class_="m-ground")
    return line + tag("path", d=strokes, class_="m-hatch")


def person(middle: float, view: View) -> str:
    """A standing person, 1.75 m, for scale, at ``middle`` metres along the machine."""
    top = PERSON_M
    head_x, head_y = view(middle, top - 0.12)
    limbs = [
        ((middle, top - 0.24), (middle, 0.8)),
        ((middle, 0.8), (middle - 0.14, 0.0)),
        ((middle, 0.8), (middle + 0.14, 0.0)),
        ((middle - 0.2, 1.0), (middle, top - 0.36)),
        ((middle, top - 0.36), (middle + 0.2, 1.0)),
    ]
    data = "".join(
        "M" + "L".join(f"{num(x)} {num(y)}" for x, y in (view(*a), view(*b))) for a, b in limbs
    )
    stroke = {"fill": "none", "stroke": "#777", "stroke_width": "2", "stroke_linecap": "round"}
    head = tag("circle", cx=head_x, cy=head_y, r=0.12 * view.scale, fill="#777")
    return head + tag("path", d=data, **stroke)


def closed(home: PlacedMachine, view: View, *, clearance_m: float) -> str:
    """Ground nobody walks on, with the clearance kept from it, hatched."""
    area = unary_union(closed_ground(home)).buffer(clearance_m, quad_segs=3)
    bars = hatch_data(area, view, gap=6.0)
    edge = tag("path", d=area_data(area, view), class_="m-hatch", stroke_dasharray="3 2")
    return edge + tag("path", d=bars, class_="m-hatch")


def swing(home: PlacedMachine, view: View) -> str:
    """The circle swept by what slews, as far as the picture reaches."""
    if home.slew_clear is None:
        return ""
    return tag("path", d=area_data(home.slew_clear, view), class_="m-swing")


def north(heading_deg: float, at: Point2) -> str:
    """An arrow to the north beside a machine whose front is to the right."""
    x, y = at
    angle = math.radians(heading_deg)
    dx, dy = math.cos(angle), -math.sin(angle)  # north lies `heading` to the left of the front
    tip, tail = (x + 12 * dx, y + 12 * dy), (x - 8 * dx, y - 8 * dy)
    barbs = [(x + 5 * dx - s * 4 * dy, y + 5 * dy + s * 4 * dx) for s in (1, -1)]
    points = [tail, tip, barbs[0], tip, barbs[1]]
    data = "M" + "L".join(f"{num(u)} {num(v)}" for u, v in points)
    letter = words("N", (x - 16 * dx, y - 16 * dy + 3.8), class_="m-t")
    return tag("path", d=data, class_="m-ground", fill="none") + letter
