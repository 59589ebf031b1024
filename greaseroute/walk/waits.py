"""Wait lines: a link that passes one costs its wait, wherever it passes."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from shapely.geometry import LineString

from greaseroute.errors import UnfitProblem
from greaseroute.walk.arrays import Flags, Floats

NEAR_M = 1.0  # a wait line this far off all links passes none of them, whatever the rounding


@dataclass(frozen=True, slots=True)
class WaitLine:
    """A straight line of two points across a crossing, both ends in closed ground."""

    line: LineString
    wait_s: float
    name: str = ""

    def __post_init__(self) -> None:
        if len(self.line.coords) != 2 or not 0 <= self.wait_s < np.inf:
            raise UnfitProblem(
                f"wait line {self.name}", f"{len(self.line.coords)} points, {self.wait_s} s",
                limit="two points, 0 or more seconds", next_step="split it or mend the wait",
            )  # fmt: skip


def _left(a: Floats, b: Floats, p: Floats) -> Flags:
    """Whether p is to the left of a..b or on it: half open, so a line through p counts once."""
    turn = (b[..., 0] - a[..., 0]) * (p[..., 1] - a[..., 1])
    turn = turn - (b[..., 1] - a[..., 1]) * (p[..., 0] - a[..., 0])
    left: Flags = turn >= 0
    return left


def wait_seconds(start: Floats, end: Floats, waits: Sequence[WaitLine]) -> Floats:
    """Seconds waited along each straight line from ``start`` to ``end``, both (n, 2)."""
    total = np.zeros(len(start))
    if not len(start):
        return total
    ends = np.concatenate([start, end])
    low, high = ends.min(axis=0) - NEAR_M, ends.max(axis=0) + NEAR_M
    for wait in waits:
        a, b = np.array(wait.line.coords)[:, :2]
        if (np.maximum(a, b) < low).any() or (np.minimum(a, b) > high).any():
            continue
        sides = _left(a, b, start) != _left(a, b, end)
        between = _left(start, end, np.broadcast_to(a, end.shape)) != _left(
            start, end, np.broadcast_to(b, end.shape)
        )
        total += wait.wait_s * (sides & between)
    return total
