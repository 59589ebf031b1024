"""Walking times in whole milliseconds and walking lines, for one pace, as the hours go by."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray

from greaseroute.errors import UnfitProblem
from greaseroute.rounds.unit_tours import IntArray
from greaseroute.units import MS_PER_S
from greaseroute.walk.ground import FreeGround
from greaseroute.walk.no_path import NoPath

Array = NDArray[np.float64]
Point2 = tuple[float, float]

NO_PATH = -1
MM_PER_M = 1000
# A millisecond is not added for what float noise puts a hair above a whole one.
SLACK = 1e-6


@dataclass(frozen=True, slots=True, eq=False)
class Walker:
    """Who walks how fast over which ground. ``grounds`` holds (from_ms, ground), ascending from 0.

    Times are rounded up to whole milliseconds: rounded up, a detour still never beats the
    straight way, which the tours inside a unit and the dropping of needless ways rely on.
    """

    grounds: tuple[tuple[int, FreeGround], ...]
    speed_m_s: float

    def travel_ms(self, points: Array, *, phase: int = 0) -> IntArray:
        """Walking times between all points in one span of hours, or ``NO_PATH``."""
        found = self.grounds[phase][1].travel(points, speed_m_s=self.speed_m_s)
        return up_to_ms(found.time_s)

    def length_mm(self, points: Array, *, phase: int = 0) -> IntArray:
        """Walking lengths of the quickest ways, whole millimetres."""
        found = self.grounds[phase][1].travel(points, speed_m_s=self.speed_m_s)
        return whole(found.length_m * MM_PER_M)

    def walk_ms(self, points: Array) -> IntArray:
        """The longest time over the spans of hours in which there is a way at all.

        For points of one unit: while its ground is closed nobody works there.
        """
        times = [self.travel_ms(points, phase=k) for k in range(len(self.grounds))]
        return np.asarray(np.max(times, axis=0), dtype=np.int64)

    def phase_at(self, ms: int) -> int:
        """The span of hours that holds ``ms`` after zero."""
        return max(k for k, (from_ms, _) in enumerate(self.grounds) if from_ms <= ms or k == 0)

    def line(self, a: Point2, b: Point2, *, phase: int = 0) -> tuple[Point2, ...]:
        """The corners of the quickest way from a to b, both ends included."""
        if a == b:
            return (a,)
        ground = self.grounds[phase][1]
        leg = ground.travel(np.asarray([a, b]), speed_m_s=self.speed_m_s).leg(0, 1)
        if isinstance(leg, NoPath):
            raise UnfitProblem(
                f"leg from {a} to {b}", leg.reason, limit="a way on free ground",
                next_step="report this: a plan must not hold such a leg",
            )  # fmt: skip
        return tuple((float(x), float(y)) for x, y in shapely.get_coordinates(leg))


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
