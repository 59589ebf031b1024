"""Walking times in whole milliseconds and walking lines between all points, as the hours go by."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
import shapely

from greaseroute.errors import UnfitProblem
from greaseroute.solvers.arrays import FloatArray, IntArray
from greaseroute.units import MS_PER_S
from greaseroute.walk.ground import FreeGround
from greaseroute.walk.no_path import NoPath
from greaseroute.walk.travel import Travel

Array = FloatArray
Point2 = tuple[float, float]
Grounds = Sequence[tuple[int, FreeGround]]

NO_PATH = -1
MM_PER_M = 1000
# A millisecond is not added for what float noise puts a hair above a whole one.
SLACK = 1e-6


class Over(NamedTuple):
    """A point that a walk leads over, by number, and the span whose line it takes from there on."""

    point: int
    span: int


@dataclass(frozen=True, slots=True, eq=False)
class Walks:
    """Quickest walks between points at one pace, one table for each span of hours.

    Times are rounded up to whole milliseconds: rounded up, a detour still never beats the
    straight way, which the tours inside a unit and the dropping of needless ways rely on.

    Attributes
    ----------
    points : (P, 2)
    begins : tuple of int
        When each span begins, ms from zero.
    ms, mm : (P, P) each
        Times, and lengths in whole millimetres, of each span; ``NO_PATH`` where there is no way.
    """

    points: Array
    begins: tuple[int, ...]
    travels: tuple[Travel, ...]
    ms: tuple[IntArray, ...]
    mm: tuple[IntArray, ...]

    @property
    def spans(self) -> tuple[tuple[int, IntArray], ...]:
        """(begin, times) of each span."""
        return tuple(zip(self.begins, self.ms, strict=True))

    def line(
        self, a: int, b: int, *, span: int = 0, over: Over | None = None
    ) -> tuple[Point2, ...]:
        """The corners of the quickest way between two points by number, both ends included; of two
        ways one after the other where it leads over a point."""
        if over is not None:
            first = self.line(a, over.point, span=span)
            return first + self.line(over.point, b, span=over.span)[1:]
        if a == b:
            x, y = self.points[a].tolist()
            return ((x, y),)
        return line_of(self.travels[span], a, b)


def line_of(travel: Travel, a: int, b: int) -> tuple[Point2, ...]:
    """The corners of the quickest way from point a to point b. Raises UnfitProblem without one."""
    leg = travel.leg(a, b)
    if isinstance(leg, NoPath):
        raise UnfitProblem(
            f"leg from point {a} to {b}", leg.reason, limit="a way on free ground",
            next_step="report this: a plan must not hold such a leg",
        )  # fmt: skip
    return tuple((float(x), float(y)) for x, y in shapely.get_coordinates(leg))


def walks_between(points: Array, grounds: Grounds, *, speed_m_s: float) -> Walks:
    """The walks between (P, 2) points at a speed, over the ground of each span of hours."""
    once = {
        id(g): g.travel(points, speed_m_s=speed_m_s, slide=False)
        for g in dict(map(_by_id, grounds)).values()
    }
    travels = tuple(once[id(ground)] for _, ground in grounds)
    return Walks(
        points=points,
        begins=tuple(begin for begin, _ in grounds),
        travels=travels,
        ms=tuple(up_to_ms(t.time_s) for t in travels),
        mm=tuple(whole(t.length_m * MM_PER_M) for t in travels),
    )


def _by_id(span: tuple[int, FreeGround]) -> tuple[int, FreeGround]:
    return id(span[1]), span[1]


def parts_of(grounds: Grounds) -> list[object]:
    """The grounds and what walks over any part of them hold on to."""
    each = [ground for _, ground in grounds]
    shared: list[object] = [*each]
    for ground in each:
        shared += [ground.slope, ground.slow, *ground.slow, ground.waits, *ground.waits]
    return [part for part in shared if part is not None and part != ()]


def up_to_ms(time_s: Array) -> IntArray:
    """Seconds up to whole milliseconds; infinity becomes ``NO_PATH``."""
    return whole(np.ceil(time_s * MS_PER_S - SLACK))


def whole(values: Array) -> IntArray:
    """Nearest whole numbers; infinity becomes ``NO_PATH``."""
    finite = np.isfinite(values)
    return np.where(finite, np.rint(np.where(finite, values, 0)), NO_PATH).astype(np.int64)


def length_m(line: Sequence[Point2]) -> float:
    """Length of a line of points."""
    if len(line) < 2:
        return 0.0
    steps = np.diff(np.asarray(line), axis=0)
    return float(np.hypot(steps[:, 0], steps[:, 1]).sum())
