"""Slide the points at which walks pass borders of slow ground to where the walk is quickest."""

from dataclasses import dataclass

import numpy as np

from greaseroute.walk.arrays import Flags, Floats, Ints

SWEEPS = 80
STILL_M = 1e-8
TINY_M = 1e-12


@dataclass(frozen=True, slots=True)
class Ways:
    """Many walks side by side, padded to the longest by repeating their last point.

    Attributes
    ----------
    xy : (w, k, 2) float array, the points
    low, high : (w, k, 2) float arrays, the ends of the border edge a point may slide along
    moves : (w, k) bool array, which points may slide
    pace : (w, k - 1) float array, seconds per metre between points; 0 in the padding
    """

    xy: Floats
    low: Floats
    high: Floats
    moves: Flags
    pace: Floats


def _step(ways: Ways, xy: Floats, k: int) -> Floats:
    """One Newton step of point k of each walk along its edge; the time is convex in it."""
    along = ways.high[:, k] - ways.low[:, k]
    length = np.hypot(*along.T)
    unit = along / np.maximum(length, TINY_M)[:, None]
    slope, bend = np.zeros(len(xy)), np.zeros(len(xy))
    for other, pace in ((k - 1, ways.pace[:, k - 1]), (k + 1, ways.pace[:, k])):
        gap = xy[:, k] - xy[:, other]
        far = np.maximum(np.hypot(*gap.T), TINY_M)
        cosine = np.einsum("ij,ij->i", gap, unit) / far
        slope += pace * cosine
        bend += pace * (1 - cosine**2) / far
    place = np.einsum("ij,ij->i", xy[:, k] - ways.low[:, k], unit)
    shift = np.clip(-slope / np.maximum(bend, TINY_M), -0.5 * length, 0.5 * length)
    goal: Floats = ways.low[:, k] + np.clip(place + shift, 0.0, length)[:, None] * unit
    return goal


def _time(ways: Ways, xy: Floats, k: int) -> Floats:
    before = np.hypot(*(xy[:, k] - xy[:, k - 1]).T) * ways.pace[:, k - 1]
    after = np.hypot(*(xy[:, k + 1] - xy[:, k]).T) * ways.pace[:, k]
    total: Floats = before + after
    return total


def _move(ways: Ways, xy: Floats, k: int) -> None:
    """Move point k where that is quicker; halve the step while it is not."""
    trial = xy.copy()
    goal = _step(ways, xy, k)
    now = _time(ways, xy, k)
    waiting = ways.moves[:, k].copy()
    for _ in range(6):
        trial[:, k] = np.where(waiting[:, None], goal, xy[:, k])
        better = waiting & (_time(ways, trial, k) < now)
        xy[better, k] = goal[better]
        waiting &= ~better
        if not waiting.any():
            break
        goal = 0.5 * (goal + xy[:, k])


def _some(ways: Ways, rows: Ints, xy: Floats) -> Ways:
    return Ways(xy[rows], ways.low[rows], ways.high[rows], ways.moves[rows], ways.pace[rows])


def polish(ways: Ways) -> Floats:
    """The points, (w, k, 2), after sliding each along its edge until none moves any more.

    At the end each passage obeys Snell's law, or sits at an end of its edge.
    """
    xy = ways.xy.copy()
    rows = np.arange(len(xy))
    for _ in range(SWEEPS):
        part = _some(ways, rows, xy)
        now = part.xy.copy()
        for k in range(1, now.shape[1] - 1):
            if part.moves[:, k].any():
                _move(part, now, k)
        xy[rows] = now
        rows = rows[np.abs(now - part.xy).max(axis=(1, 2), initial=0.0) >= STILL_M]
        if not len(rows):
            break
    return xy
