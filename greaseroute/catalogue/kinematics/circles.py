"""Two circles meeting: how every closed chain in a plane is closed."""

import math

from greaseroute.catalogue.linkage import Side

Point2 = tuple[float, float]
Circle = tuple[Point2, float]


class CirclesApartError(ValueError):
    """Two circles that do not meet; ``miss_m`` is by how much."""

    def __init__(self, miss_m: float, words: str) -> None:
        super().__init__(f"{words} by {miss_m * 1000:.0f} mm")
        self.miss_m = miss_m


def circles_meet(first: Circle, second: Circle, *, side: Side) -> Point2:
    """The meeting of two circles on one side of the walk from the first centre to the second.

    Plane geometry: with centres d apart, the meetings lie (d² + r1² - r2²) / 2d along the walk
    and a half chord to either side. Raises CirclesApartError, saying by how much they miss.
    """
    (centre, r1), (other, r2) = first, second
    dx, dy = other[0] - centre[0], other[1] - centre[1]
    apart_m = math.hypot(dx, dy)
    if apart_m > r1 + r2:
        raise CirclesApartError(apart_m - r1 - r2, "the pins are too far apart")
    if apart_m < abs(r1 - r2) or apart_m == 0.0:
        raise CirclesApartError(abs(r1 - r2) - apart_m, "the pins are too close")
    ux, uy = dx / apart_m, dy / apart_m
    along_m = (apart_m**2 + r1**2 - r2**2) / (2 * apart_m)
    aside_m = math.sqrt(max(r1**2 - along_m**2, 0.0))
    if side == "right":
        aside_m = -aside_m
    return (centre[0] + along_m * ux - aside_m * uy, centre[1] + along_m * uy + aside_m * ux)


def turned(point: Point2, angle_deg: float) -> Point2:
    """A point turned about the origin, from the first axis towards the second."""
    c, s = math.cos(math.radians(angle_deg)), math.sin(math.radians(angle_deg))
    return (c * point[0] - s * point[1], s * point[0] + c * point[1])


def direction_deg(start: Point2, end: Point2) -> float:
    """Direction from one point to another, from the first axis towards the second."""
    return math.degrees(math.atan2(end[1] - start[1], end[0] - start[0]))


def wrapped_deg(angle_deg: float) -> float:
    """The same angle in (-180, 180]."""
    return -((-angle_deg + 180.0) % 360.0 - 180.0)
