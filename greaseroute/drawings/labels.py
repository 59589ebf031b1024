"""Where labels go: boxes that touch neither each other nor the edge, close to what they name."""

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

import shapely
from shapely import STRtree
from shapely.geometry.base import BaseGeometry

from greaseroute.drawings.svg import Box, Point2
from greaseroute.walk.shapes import clip

Segment = tuple[Point2, Point2]

RINGS = (0.0, 5.0, 12.0, 20.0, 30.0, 42.0, 56.0, 72.0, 90.0, 112.0, 138.0, 170.0, 210.0, 260.0)
DIRECTIONS = 24
CROWD_PX = 70.0  # about the width of a label: closer points want the same room
HAIR = 0.01
GAP = 2.0  # kept free around each label
# A label on a walking line hides where to go; one on a machine hides less. Both may be
# paid for with distance: so many units of leader length for each unit of line or area hidden.
LINE_PRICE = 1.5
AREA_PRICE = 0.4


@dataclass(frozen=True, slots=True)
class Label:
    """What is to be labelled: a point of the picture, kept ``clear`` of it, and the box's size.

    ``centred``: the box may also sit right on its point, as the name of an area does.
    """

    at: Point2
    width: float
    height: float
    clear: float = 0.0
    centred: bool = False


@dataclass(frozen=True, slots=True)
class Spot:
    """Where a label stands: its box and the point it names."""

    box: Box
    at: Point2

    @property
    def middle(self) -> Point2:
        """The middle of the box."""
        left, top, right, bottom = self.box
        return (left + right) / 2, (top + bottom) / 2

    @property
    def leader(self) -> Segment | None:
        """The line from the named point to the edge of the box; None where it would be tiny."""
        left, top, right, bottom = self.box
        dx, dy = self.at[0] - self.middle[0], self.at[1] - self.middle[1]
        if not (dx or dy):
            return None
        # The share of the way from the middle at which the line leaves the box.
        share = min(
            (right - left) / 2 / abs(dx) if dx else math.inf,
            (bottom - top) / 2 / abs(dy) if dy else math.inf,
        )
        if (1 - share) * math.hypot(dx, dy) <= GAP:
            return None
        return self.at, (self.middle[0] + share * dx, self.middle[1] + share * dy)

    @property
    def leader_length(self) -> float:
        """Length of the leader, 0 where there is none."""
        return math.dist(*self.leader) if self.leader else 0.0


def crowded_first(points: Sequence[Point2]) -> list[int]:
    """Indices of points, those with most others near by first: their room goes soonest."""
    crowd = [sum(math.dist(p, q) < CROWD_PX for q in points) for p in points]
    return sorted(range(len(points)), key=lambda k: -crowd[k])


class LabelField:
    """A picture filled label by label; every label keeps clear of those before it."""

    def __init__(self, size: Point2, *, avoid_lines: Sequence[BaseGeometry] = ()) -> None:
        self._size = size
        self._boxes: list[Box] = []
        self._leaders: list[tuple[Box, Segment]] = []
        self._soft = STRtree(list(avoid_lines))

    def block(self, area: Box) -> None:
        """Keep a box free of labels."""
        self._boxes.append(area)

    def place(self, label: Label, *, crossing: bool = False) -> Spot | None:
        """The best free spot, which is then taken; None where there is none in any ring.

        With ``crossing`` leaders may cross each other, as a last resort for what must be named.
        """
        best: tuple[float, Spot] | None = None
        for ring, spots in _rings(label):
            if best is not None and best[0] <= ring:
                break  # further out nothing can be cheaper: the distance alone costs as much
            for spot in spots:
                if not self._free(spot, crossing=crossing):
                    continue
                cost = ring + self._hidden(spot.box)
                if best is None or cost < best[0] - 1e-9:
                    best = (cost, spot)
        if best is None:
            return None
        self._take(best[1])
        return best[1]

    def claim(self, choices: Sequence[Box]) -> Box | None:
        """Take the first of some boxes that is free, the one that hides least first."""
        for area in sorted(choices, key=self._hidden):
            if self._clear(area, gap=0.0):
                self._boxes.append(area)
                return area
        return None

    def _take(self, spot: Spot) -> None:
        self._boxes.append(spot.box)
        if spot.leader is not None:
            self._leaders.append((_span(spot.leader), spot.leader))

    def _free(self, spot: Spot, *, crossing: bool) -> bool:
        if not self._clear(spot.box, gap=GAP):
            return False
        leader = spot.leader
        if leader is None:
            return True
        # Comparing spans first spares most of the exact checks.
        span = _span(leader)
        if any(_overlap(span, other) and _hits(leader, other) for other in self._boxes):
            return False
        return crossing or not any(
            _overlap(span, area) and _cross(leader, other) for area, other in self._leaders
        )

    def _clear(self, area: Box, *, gap: float) -> bool:
        """Whether a box lies on the page and touches no label and no leader."""
        left, top, right, bottom = area
        if not (left >= 0 and top >= 0 and right <= self._size[0] and bottom <= self._size[1]):
            return False
        wide = (left - gap, top - gap, right + gap, bottom + gap)
        if _touches(wide, self._boxes):
            return False
        return not any(
            _overlap(wide, span) and _hits(leader, wide) for span, leader in self._leaders
        )

    def _hidden(self, area: Box) -> float:
        """The price of what a label there would hide."""
        near = self._soft.query(shapely.box(*area))
        if not len(near):
            return 0.0
        covered = clip(self._soft.geometries[near], area)
        sizes = zip(shapely.area(covered).tolist(), shapely.length(covered).tolist(), strict=True)
        return float(sum(AREA_PRICE * a if a else LINE_PRICE * b for a, b in sizes))


def _overlap(one: Box, other: Box) -> bool:
    return one[0] < other[2] and other[0] < one[2] and one[1] < other[3] and other[1] < one[3]


def _touches(area: Box, others: Iterable[Box]) -> bool:
    """Whether a box overlaps any of the others (asked half a million times for a map)."""
    left, top, right, bottom = area
    return any(left < c and a < right and top < d and b < bottom for a, b, c, d in others)


def _span(line: Segment) -> Box:
    """The box around a line, a hair wider so that a level line has one."""
    (x0, y0), (x1, y1) = line
    low, high = (min(x0, x1), min(y0, y1)), (max(x0, x1), max(y0, y1))
    return low[0] - HAIR, low[1] - HAIR, high[0] + HAIR, high[1] + HAIR


def _hits(line: Segment, area: Box) -> bool:
    """Whether a straight line touches a box (clipped against each pair of sides in turn)."""
    enter, leave = 0.0, 1.0
    for start, end, low, high in zip(*line, area[:2], area[2:], strict=True):
        run = end - start
        if run == 0:
            if not low <= start <= high:
                return False
            continue
        near, far = sorted(((low - start) / run, (high - start) / run))
        enter, leave = max(enter, near), min(leave, far)
    return enter <= leave


def _cross(one: Segment, other: Segment) -> bool:
    """Whether two straight lines cross."""
    (a, b), (c, d) = one, other
    return _turn(a, b, c) * _turn(a, b, d) <= 0 and _turn(c, d, a) * _turn(c, d, b) <= 0


def _turn(a: Point2, b: Point2, c: Point2) -> float:
    return (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0])


def _rings(label: Label) -> Iterator[tuple[float, Iterator[Spot]]]:
    """Boxes around the point: each ring's distance and its boxes in all directions."""
    if label.centred:
        yield 0.0, iter([boxed(label, label.at)])
    angles = [2 * math.pi * step / DIRECTIONS for step in range(DIRECTIONS)]
    for ring in RINGS:
        yield ring, (_spot(label, ring + label.clear, angle) for angle in angles)


def _spot(label: Label, distance: float, angle: float) -> Spot:
    """The box whose nearest edge lies ``distance`` from the point in that direction."""
    dx, dy = math.cos(angle), math.sin(angle)
    half_w, half_h = label.width / 2, label.height / 2
    # How far the box's middle must lie out so that its edge, not its middle, is at the distance.
    out = min(half_w / abs(dx) if dx else math.inf, half_h / abs(dy) if dy else math.inf)
    reach = distance + out
    return boxed(label, (label.at[0] + dx * reach, label.at[1] + dy * reach))


def boxed(label: Label, middle: Point2) -> Spot:
    """The label's box around a given middle."""
    x, y = middle
    half_w, half_h = label.width / 2, label.height / 2
    return Spot((x - half_w, y - half_h, x + half_w, y + half_h), label.at)
