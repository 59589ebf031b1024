"""Who sees whom over a triangulated ground: cones spread from triangle to triangle.

Every decision is the sign of an orientation of three input points, taken exactly (a floating
filter first, expansion arithmetic after Shewchuk 1997 where it cannot decide), so collinear and
touching cases do not depend on rounding. Plain indexing throughout: it compiles fastest.
"""

import numpy as np
from numba import njit

from greaseroute.kernel_cache import cached_njit
from greaseroute.walk.arrays import Floats, Ints

FILTER = 3.3306690738754716e-16  # (3 + 16 u) u with u = 2^-53: Shewchuk's first error bound
SPLITTER = 134217729.0  # 2^27 + 1, Dekker's split of a double


@njit(nogil=True)
def _add_product(left: float, right: float, parts: Floats, size: int) -> int:
    """Add left * right to an expansion of ``size`` parts, without error; its new size."""
    high = left * right
    wide = SPLITTER * left
    l_high = wide - (wide - left)
    l_low = left - l_high
    wide = SPLITTER * right
    r_high = wide - (wide - right)
    r_low = right - r_high
    carry = l_low * r_low - (((high - l_high * r_high) - l_low * r_high) - l_high * r_low)
    for _ in range(2):
        for i in range(size):
            total = carry + parts[i]
            back = total - carry
            parts[i] = (carry - (total - back)) + (parts[i] - back)
            carry = total
        parts[size] = carry
        size += 1
        carry = high
    return size


@njit(nogil=True)
def _exact(ax: float, ay: float, bx: float, by: float, cx: float, cy: float) -> float:
    """Orientation of a, b, c from six exact products summed without error; its sign is right."""
    parts = np.zeros(12)
    size = int(parts[0])  # a plain 0 would be a type of its own and compile the function twice
    size = _add_product(ax, by, parts, size)
    size = _add_product(-ax, cy, parts, size)
    size = _add_product(-cx, by, parts, size)
    size = _add_product(-ay, bx, parts, size)
    size = _add_product(ay, cx, parts, size)
    size = _add_product(cy, bx, parts, size)
    for i in range(size - 1, -1, -1):
        if parts[i] != 0.0:
            return float(parts[i])
    return 0.0


@cached_njit
def orient(ax: float, ay: float, bx: float, by: float, cx: float, cy: float) -> float:
    """Positive where a, b, c turn left, negative where right, zero where they are collinear."""
    left = (ax - cx) * (by - cy)
    right = (ay - cy) * (bx - cx)
    turn = left - right
    bound = FILTER * (abs(left) + abs(right))
    if turn >= bound or -turn >= bound:
        return turn
    return _exact(ax, ay, bx, by, cx, cy)


@njit(nogil=True)
def _turn(px: float, py: float, xy: Floats, v: int, qx: float, qy: float) -> float:
    """Orientation of the apex p, vertex v, and q."""
    return orient(px, py, xy[v, 0], xy[v, 1], qx, qy)


@njit(nogil=True)
def _side(px: float, py: float, xy: Floats, corners: Ints, node: int) -> int:
    """Side of a corner a point lies on: 0 or 1 where it is tangent, 2 open corner, -1 neither.

    Leaving on side 0 the obstacle is to the right, on side 1 to the left.
    """
    if corners[node, 3] == 1:
        return 2
    v = corners[node, 0]
    first = _turn(px, py, xy, v, xy[corners[node, 1], 0], xy[corners[node, 1], 1])
    last = _turn(px, py, xy, v, xy[corners[node, 2], 0], xy[corners[node, 2], 1])
    if first >= 0 and last >= 0:
        return 0
    if first <= 0 and last <= 0:
        return 1
    return -1


@njit(nogil=True)
def _within(px: float, py: float, qx: float, qy: float, xy: Floats, cone: Ints, at: int) -> bool:
    """Whether q lies in the closed cone ``cone[at]`` of apex p.

    A cone row is: half-edge, right vertex, its sign, left vertex, its sign; sign -1 stands for the
    direction away from the vertex.
    """
    if cone[at, 2] * _turn(px, py, xy, cone[at, 1], qx, qy) < 0:
        return False
    return bool(cone[at, 4] * _turn(px, py, xy, cone[at, 3], qx, qy) <= 0)


@njit(nogil=True)
def _narrow(px: float, py: float, xy: Floats, cone: Ints, limit: Ints, at: int) -> bool:
    """Cut cone 0 (a portal) with ``limit[at]``; False where nothing of any width is left."""
    for k in range(1, 5, 2):
        inner = limit[at, k]
        d, sign = cone[0, k], limit[at, k + 1]
        if _within(px, py, xy[d, 0], xy[d, 1], xy, limit, at):
            continue
        qx, qy = xy[inner, 0], xy[inner, 1]
        if sign * cone[0, 2] * _turn(px, py, xy, cone[0, 1], qx, qy) < 0:
            return False
        if sign * _turn(px, py, xy, cone[0, 3], qx, qy) > 0:
            return False
        cone[0, k] = inner
        cone[0, k + 1] = sign
    d = cone[0, 3]
    turn = _turn(px, py, xy, cone[0, 1], xy[d, 0], xy[d, 1])
    return bool(cone[0, 2] * cone[0, 4] * turn > 0)


@cached_njit
def look(
    start: Ints, limit: Ints, apex: Floats, xy: Floats, cells: Ints, corners: Ints,
    spot_first: Ints, spots: Ints, spot_xy: Floats, found: Ints, seen: Ints, count: Ints,
) -> None:  # fmt: skip
    """Look out of apexes over the ground; write what is found, count also past the array's end.

    Parameters
    ----------
    start : rows of apex, triangle, and the apex's place in the triangle (0 to 2, -1 for inside)
    limit : for each start the cone to look into, as in ``_within`` (sign 0: no limit)
    cells : rows of a triangle's vertices (0 to 2), twin half-edges (3 to 5), corners (6 to 8)
    corners : rows of vertex, first and last wall neighbour, open
    spot_first, spots, spot_xy : points lying in each triangle (CSR), or all empty
    found : rows of start, corner, side of the corner, triangle; for a point: start, point, -1, t
    seen : start * number of triangles + triangle, for all looked through; may be empty
    count : two numbers, of found and seen
    """
    # Long: split, its pieces would hand a dozen arrays about, and each
    # hand-over costs the first run half a second of compiling.
    cone = np.empty((len(cells) + 8, 5), np.int64)
    with_spots = len(spots) > 0
    for s in range(len(start)):
        px, py = apex[start[s, 0], 0], apex[start[s, 0], 1]
        home, place = start[s, 1], start[s, 2]
        free = limit[s, 2] == 0
        top = 0
        for e in range(3):
            if place >= 0 and e != (place + 1) % 3:
                continue
            a, b = cells[home, e], cells[home, (e + 1) % 3]
            over = cells[home, 3 + e]
            if over < 0 or _turn(px, py, xy, a, xy[b, 0], xy[b, 1]) <= 0:
                continue
            cone[top, 0], cone[top, 1], cone[top, 2], cone[top, 3], cone[top, 4] = over, a, 1, b, 1
            if free or _narrow(px, py, xy, cone, limit, s):
                top += 1
        fresh = True
        while fresh or top > 0:
            if fresh:  # the triangle of the apex itself: every vertex and point of it
                t, low, high = home, 0, 3
            else:
                top -= 1
                t = cone[top, 0] // 3
                low = (cone[top, 0] % 3 + 2) % 3
                high = low + 1
            if count[1] < len(seen):
                seen[count[1]] = s * len(cells) + t
            count[1] += 1
            for k in range(low, high):
                node = cells[t, 6 + k]
                if node < 0:
                    continue
                last = k == (place + 2) % 3 and place >= 0 and not free
                if fresh and last and cells[t, 3 + k] >= 0:
                    continue  # the next triangle of the fan notes it
                c = cells[t, k]
                x, y = xy[c, 0], xy[c, 1]
                if x == px and y == py:
                    continue
                if fresh and not free and not _within(px, py, x, y, xy, limit, s):
                    continue
                if not fresh and not _within(px, py, x, y, xy, cone, top):
                    continue
                side = _side(px, py, xy, corners, node)
                if side >= 0:
                    if count[0] < len(found):
                        found[count[0], 0], found[count[0], 1] = s, node
                        found[count[0], 2], found[count[0], 3] = side, t
                    count[0] += 1
            if with_spots:
                for i in range(spot_first[t], spot_first[t + 1]):
                    q = spots[i]
                    if fresh or _within(px, py, spot_xy[q, 0], spot_xy[q, 1], xy, cone, top):
                        if count[0] < len(found):
                            found[count[0], 0], found[count[0], 1] = s, q
                            found[count[0], 2], found[count[0], 3] = -1, t
                        count[0] += 1
            if fresh:
                fresh = False
                continue
            c = cells[t, low]
            right, right_sign, left, left_sign = (
                cone[top, 1], cone[top, 2], cone[top, 3], cone[top, 4],
            )  # fmt: skip
            on_right = right_sign * _turn(px, py, xy, right, xy[c, 0], xy[c, 1])
            on_left = left_sign * _turn(px, py, xy, left, xy[c, 0], xy[c, 1])
            over = cells[t, 3 + low]
            if over >= 0 and on_left < 0:
                cone[top, 0], cone[top, 3], cone[top, 4] = over, left, left_sign
                cone[top, 1], cone[top, 2] = right, right_sign
                if on_right > 0:
                    cone[top, 1], cone[top, 2] = c, 1
                top += 1
            over = cells[t, 3 + (low + 2) % 3]
            if over >= 0 and on_right > 0:
                cone[top, 0], cone[top, 1], cone[top, 2] = over, right, right_sign
                cone[top, 3], cone[top, 4] = left, left_sign
                if on_left < 0:
                    cone[top, 3], cone[top, 4] = c, 1
                top += 1
