"""Compiled: mean time factors of straight lines over a surface of triangles."""

import math

import numpy as np
from numba import njit

from greaseroute.kernel_cache import cached_njit
from greaseroute.walk.arrays import Floats, Ints
from greaseroute.walk.terrain import TOBLER_SHIFT, TOBLER_STEEP

CLOSE_M = 1e-9
MARGIN_M = 1e-6  # a line this near to a cell may pass it
HAIR = 1e-9  # shares of a line or an edge: what meets at a corner is met for certain


@njit(nogil=True)
def _cell(value: float, low: float, width: float, most: int) -> int:
    """The cell that a coordinate lies in, the first or last one where it lies outside."""
    return int(min(max((value - low) / width, 0.0), most - 1.0))


@njit(nogil=True)
def _on_rim(x: float, y: float, rim: Floats) -> float:
    """Height of the nearest point of the rim, whose edges are rows of two ends (x, y, z)."""
    nearest, height = np.inf, 0.0
    for k in range(len(rim)):
        run_x, run_y = rim[k, 1, 0] - rim[k, 0, 0], rim[k, 1, 1] - rim[k, 0, 1]
        along = (x - rim[k, 0, 0]) * run_x + (y - rim[k, 0, 1]) * run_y
        share = min(max(along / (run_x * run_x + run_y * run_y), 0.0), 1.0)
        off = math.hypot(x - rim[k, 0, 0] - share * run_x, y - rim[k, 0, 1] - share * run_y)
        if off < nearest:
            nearest = off
            height = rim[k, 0, 2] + share * (rim[k, 1, 2] - rim[k, 0, 2])
    return height


@njit(nogil=True)
def _height(
    x: float, y: float, grid: Floats, first: Ints, faces_in: Ints, faces: Floats, rim: Floats
) -> float:
    rows = int(grid[5])
    cell = _cell(x, grid[0], grid[2], int(grid[4])) * rows + _cell(y, grid[1], grid[3], rows)
    for k in range(first[cell], first[cell + 1]):
        f = faces[faces_in[k]]
        ux, uy, vx, vy = f[1, 0] - f[0, 0], f[1, 1] - f[0, 1], f[2, 0] - f[0, 0], f[2, 1] - f[0, 1]
        wx, wy = x - f[0, 0], y - f[0, 1]
        area = ux * vy - uy * vx
        s, t = (wx * vy - wy * vx) / area, (ux * wy - uy * wx) / area
        if s >= 0.0 and t >= 0.0 and s + t <= 1.0:
            return float(f[0, 2] + s * (f[1, 2] - f[0, 2]) + t * (f[2, 2] - f[0, 2]))
    return _on_rim(x, y, rim)


@njit(nogil=True)
def _insert(share: Floats, height: Floats, size: int, at: float, z: float) -> int:
    """Put one break of a line into its place; the new number of breaks."""
    k = size
    while k > 0 and share[k - 1] > at:
        share[k], height[k] = share[k - 1], height[k - 1]
        k -= 1
    share[k], height[k] = at, z
    return size + 1


@njit(nogil=True)
def _mean_factor(share: Floats, height: Floats, size: int, length_m: float) -> float:
    """Mean over the pieces between breaks, each with one slope; what is not covered is level."""
    total, covered = 0.0, 0.0
    for k in range(1, size):
        step = share[k] - share[k - 1]
        if length_m * step > CLOSE_M:
            slope = (height[k] - height[k - 1]) / (length_m * step)
            total += step * math.exp(TOBLER_STEEP * (abs(slope + TOBLER_SHIFT) - TOBLER_SHIFT))
            covered += step
    return total + (1.0 - covered)


@njit(nogil=True)
def _rows(
    column: int, ax: float, ay: float, bx: float, by: float, grid: Floats
) -> tuple[int, int]:  # fmt: skip
    """The first and last cell of a column that a line may pass, as numbers of cells."""
    low, high = min(ay, by), max(ay, by)
    columns, rows = int(grid[4]), int(grid[5])
    if 0 < column < columns - 1 and abs(bx - ax) > CLOSE_M:
        west = min(max(grid[0] + column * grid[2], min(ax, bx)), max(ax, bx))
        east = min(max(grid[0] + (column + 1) * grid[2], min(ax, bx)), max(ax, bx))
        rise = (by - ay) / (bx - ax)
        low, high = ay + (west - ax) * rise, ay + (east - ax) * rise
        low, high = min(low, high) - MARGIN_M, max(low, high) + MARGIN_M
    first, last = _cell(low, grid[1], grid[3], rows), _cell(high, grid[1], grid[3], rows)
    return column * rows + first, column * rows + last


@cached_njit
def line_factors(
    start: Floats, end: Floats, grid: Floats, edge_first: Ints, edges_in: Ints, edges: Floats,
    face_first: Ints, faces_in: Ints, faces: Floats, rim: Floats, out: Floats,
) -> None:  # fmt: skip
    """Fill ``out`` with the time over the time on the level, for each line.

    Parameters
    ----------
    start, end : (n, 2) arrays
    grid : west and south limit, width and height of a cell, numbers of columns and rows
    edge_first, edges_in, face_first, faces_in : edges and faces in each cell (CSR, by columns)
    edges, faces, rim : (m, 2, 3), (t, 3, 3) and (r, 2, 3) corners; the rim is the outermost edges
    """
    # Long: split, its pieces would hand a dozen arrays about, and each costs compiling.
    share, height = np.empty(len(edges) + 2), np.empty(len(edges) + 2)
    asked = np.full(len(edges), -1)
    columns = int(grid[4])
    for i in range(len(start)):
        ax, ay, bx, by = start[i, 0], start[i, 1], end[i, 0], end[i, 1]
        dx, dy = bx - ax, by - ay
        share[0] = 0.0
        height[0] = _height(ax, ay, grid, face_first, faces_in, faces, rim)
        size = 1
        west = _cell(min(ax, bx), grid[0], grid[2], columns)
        east = _cell(max(ax, bx), grid[0], grid[2], columns)
        for column in range(west, east + 1):
            low, high = _rows(column, ax, ay, bx, by, grid)
            for k in range(edge_first[low], edge_first[high + 1]):
                e = edges_in[k]
                if asked[e] == i:
                    continue
                asked[e] = i
                run_x, run_y = edges[e, 1, 0] - edges[e, 0, 0], edges[e, 1, 1] - edges[e, 0, 1]
                turn = dx * run_y - dy * run_x
                if abs(turn) <= CLOSE_M:
                    continue
                gap_x, gap_y = edges[e, 0, 0] - ax, edges[e, 0, 1] - ay
                at, on = (gap_x * run_y - gap_y * run_x) / turn, (gap_x * dy - gap_y * dx) / turn
                if -HAIR <= at <= 1 + HAIR and -HAIR <= on <= 1 + HAIR:
                    z, rise = edges[e, 0, 2], edges[e, 1, 2] - edges[e, 0, 2]
                    z += min(max(on, 0.0), 1.0) * rise
                    size = _insert(share, height, size, min(max(at, 0.0), 1.0), z)
        z = _height(bx, by, grid, face_first, faces_in, faces, rim)
        size = _insert(share, height, size, 1.0, z)
        out[i] = _mean_factor(share, height, size, math.hypot(dx, dy))
