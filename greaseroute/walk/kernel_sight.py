"""Who sees whom over a triangulated ground: cones spread from triangle to triangle.

Every decision is the sign of an orientation of three input points, taken exactly (a floating
filter first, expansion arithmetic after Shewchuk 1997 where it cannot decide), so collinear and
touching cases do not depend on rounding.
"""

import numpy as np
from numba import njit

from greaseroute.walk.arrays import Floats, Ints

FILTER = 3.3306690738754716e-16  # (3 + 16 u) u with u = 2^-53: Shewchuk's first error bound
SPLITTER = 134217729.0  # 2^27 + 1, Dekker's split of a double


@njit(cache=True)
def _exact_sign(ax: float, ay: float, bx: float, by: float, cx: float, cy: float) -> float:
    """Sign of the orientation of a, b, c from six exact products summed without error."""
    left = np.array([ax, -ax, -cx, -ay, ay, cy])
    right = np.array([by, cy, by, bx, cx, bx])
    parts = np.zeros(13)
    size = 0
    for k in range(6):
        high = left[k] * right[k]
        wide = SPLITTER * left[k]
        l_high = wide - (wide - left[k])
        l_low = left[k] - l_high
        wide = SPLITTER * right[k]
        r_high = wide - (wide - right[k])
        r_low = right[k] - r_high
        low = l_low * r_low - (((high - l_high * r_high) - l_low * r_high) - l_high * r_low)
        for term in (low, high):
            carry = term
            for i in range(size):
                total = carry + parts[i]
                back = total - carry
                parts[i] = (carry - (total - back)) + (parts[i] - back)
                carry = total
            parts[size] = carry
            size += 1
    for i in range(size - 1, -1, -1):
        if parts[i] != 0.0:
            return parts[i]
    return 0.0


@njit(cache=True)
def orient(ax: float, ay: float, bx: float, by: float, cx: float, cy: float) -> float:
    """Positive where a, b, c turn left, negative where right, zero where they are collinear."""
    left = (ax - cx) * (by - cy)
    right = (ay - cy) * (bx - cx)
    turn = left - right
    bound = FILTER * (abs(left) + abs(right))
    if turn >= bound or -turn >= bound:
        return turn
    return _exact_sign(ax, ay, bx, by, cx, cy)


@njit(cache=True)
def orient_each(a: Floats, b: Floats, c: Floats) -> Floats:
    """``orient`` row by row, as -1, 0, 1."""
    out = np.empty(len(a))
    for i in range(len(a)):
        out[i] = np.sign(orient(a[i, 0], a[i, 1], b[i, 0], b[i, 1], c[i, 0], c[i, 1]))
    return out


@njit(cache=True)
def _wedge(px: float, py: float, xy: Floats, corner: Ints) -> int:
    """Wedge of a corner a point lies in: 0 or 1 where it is tangent, 2 open corner, -1 none.

    ``corner`` = vertex, first wall neighbour, last wall neighbour (counter-clockwise through the
    free ground), open. Seen from wedge 0 the obstacle is to the right of the way out.
    """
    if corner[3] == 1:
        return 2
    v, a, b = corner[0], corner[1], corner[2]
    o_a = orient(xy[v, 0], xy[v, 1], xy[a, 0], xy[a, 1], px, py)
    o_b = orient(xy[v, 0], xy[v, 1], xy[b, 0], xy[b, 1], px, py)
    if o_a >= 0 and o_b >= 0:
        return 0
    if o_a <= 0 and o_b <= 0:
        return 1
    return -1


@njit(cache=True)
def _note(
    source: Ints, t: int, k: int, apex: Floats, xy: Floats, tri_corner: Ints, corners: Ints,
    links: Ints, count: Ints,
) -> None:  # fmt: skip
    """Write a link to the corner at vertex ``k`` of triangle ``t`` if it is tangent there."""
    node = tri_corner[t, k]
    if node < 0:
        return
    v = corners[node, 0]
    if xy[v, 0] == apex[0] and xy[v, 1] == apex[1]:
        return
    wedge = _wedge(apex[0], apex[1], xy, corners[node])
    if wedge < 0:
        return
    if count[0] < len(links):
        row = links[count[0]]
        row[0], row[1], row[2], row[3], row[4] = source[0], source[1], node, wedge, t
    count[0] += 1


@njit(cache=True)
def _spread(
    source: Ints, apex: Floats, top: int, xy: Floats, tri: Ints, twin: Ints, tri_corner: Ints,
    corners: Ints, spot_first: Ints, spots: Ints, spot_xy: Floats, stack: Ints, links: Ints,
    pairs: Ints, seen: Ints, count: Ints,
) -> None:  # fmt: skip
    """Follow the ``top`` cones on the stack through all portals; write links, pairs, seen."""
    px, py = apex[0], apex[1]
    while top > 0:
        top -= 1
        half, right, right_sign, left, left_sign = stack[top]
        t, e = half // 3, half % 3
        k = (e + 2) % 3
        c = tri[t, k]
        o_r = right_sign * orient(px, py, xy[right, 0], xy[right, 1], xy[c, 0], xy[c, 1])
        o_l = left_sign * orient(px, py, xy[left, 0], xy[left, 1], xy[c, 0], xy[c, 1])
        if count[2] < len(seen):
            seen[count[2], 0], seen[count[2], 1] = source[0], t
        count[2] += 1
        if o_r >= 0 and o_l <= 0:
            _note(
                source, t, k, apex=apex, xy=xy, tri_corner=tri_corner, corners=corners,
                links=links, count=count,
            )  # fmt: skip
        for i in range(spot_first[t], spot_first[t + 1]):
            x, y = spot_xy[spots[i], 0], spot_xy[spots[i], 1]
            if (
                right_sign * orient(px, py, xy[right, 0], xy[right, 1], x, y) >= 0
                and left_sign * orient(px, py, xy[left, 0], xy[left, 1], x, y) <= 0
            ):
                if count[1] < len(pairs):
                    pairs[count[1], 0], pairs[count[1], 1] = source[0], spots[i]
                    pairs[count[1], 2] = t
                count[1] += 1
        over = twin[t * 3 + k]
        if over >= 0 and o_l < 0:
            row = stack[top]
            row[0], row[3], row[4] = over, left, left_sign
            row[1], row[2] = (c, 1) if o_r > 0 else (right, right_sign)
            top += 1
        over = twin[t * 3 + (e + 1) % 3]
        if over >= 0 and o_r > 0:
            row = stack[top]
            row[0], row[1], row[2] = over, right, right_sign
            row[3], row[4] = (c, 1) if o_l < 0 else (left, left_sign)
            top += 1


@njit(cache=True)
def _inside(
    v: int, d: int, d_sign: int, right: int, right_sign: int, left: int, left_sign: int, xy: Floats
) -> bool:
    """Whether the direction from v to (or, sign -1, away from) d lies in the closed cone right to left."""
    turn = d_sign * orient(xy[v, 0], xy[v, 1], xy[right, 0], xy[right, 1], xy[d, 0], xy[d, 1])
    if right_sign * turn < 0:
        return False
    turn = d_sign * orient(xy[v, 0], xy[v, 1], xy[left, 0], xy[left, 1], xy[d, 0], xy[d, 1])
    return left_sign * turn <= 0


@njit(cache=True)
def _open_portal(v: int, x: int, y: int, wedge: Ints, xy: Floats, cone: Ints) -> bool:
    """Cut the portal x..y seen from v with a wedge; False where nothing of any width is left."""
    right, right_sign, left, left_sign = wedge
    if _inside(v, x, 1, right=right, right_sign=right_sign, left=left, left_sign=left_sign, xy=xy):
        cone[0], cone[1] = x, 1
    elif _inside(v, right, right_sign, right=x, right_sign=1, left=y, left_sign=1, xy=xy):
        cone[0], cone[1] = right, right_sign
    else:
        return False
    if _inside(v, y, 1, right=right, right_sign=right_sign, left=left, left_sign=left_sign, xy=xy):
        cone[2], cone[3] = y, 1
    elif _inside(v, left, left_sign, right=x, right_sign=1, left=y, left_sign=1, xy=xy):
        cone[2], cone[3] = left, left_sign
    else:
        return False
    a, b = cone[0], cone[2]
    turn = orient(xy[v, 0], xy[v, 1], xy[a, 0], xy[a, 1], xy[b, 0], xy[b, 1])
    return cone[1] * cone[3] * turn > 0


@njit(cache=True)
def look_from_corners(
    nodes: Ints, xy: Floats, tri: Ints, twin: Ints, tri_corner: Ints, corners: Ints,
    fan_first: Ints, fan: Ints, links: Ints, seen: Ints, count: Ints,
) -> None:  # fmt: skip
    """Tangent links out of each corner in ``nodes``; ``fan`` lists its triangles as 3 t + k.

    ``count`` tells how many links (0) and seen triangles (2) there are, also past the arrays' end.
    """
    no_spots = np.zeros(len(tri) + 1, np.int64)
    no_index = np.zeros(0, np.int64)
    no_xy = np.zeros((0, 2))
    no_pairs = np.zeros((0, 3), np.int64)
    stack = np.empty((len(tri) + 64, 5), np.int64)
    wedge = np.empty(4, np.int64)
    cone = np.empty(4, np.int64)
    source = np.empty(2, np.int64)
    for node in nodes:
        v, a, b, is_open = corners[node]
        apex = xy[v]
        source[0] = node
        for side in range(2 - is_open):
            source[1] = side
            wedge[0], wedge[1] = a, 1 - 2 * side
            wedge[2], wedge[3] = b, 2 * side - 1
            for i in range(fan_first[node], fan_first[node + 1]):
                t, k = fan[i] // 3, fan[i] % 3
                if count[2] < len(seen):
                    seen[count[2], 0], seen[count[2], 1] = node, t
                count[2] += 1
                x, y = tri[t, (k + 1) % 3], tri[t, (k + 2) % 3]
                for j in range(1, 3):
                    d = tri[t, (k + j) % 3]
                    # a vertex between two fan triangles is noted with the one that starts at it
                    if j == 2 and i + 1 < fan_first[node + 1] and is_open == 0:
                        continue
                    if is_open == 1 or _inside(
                        v, d, 1, wedge[0], wedge[1], wedge[2], wedge[3], xy
                    ):
                        _note(
                            source, t, (k + j) % 3, apex=apex, xy=xy, tri_corner=tri_corner,
                            corners=corners, links=links, count=count,
                        )  # fmt: skip
                over = twin[t * 3 + (k + 1) % 3]
                if over < 0:
                    continue
                cone[0], cone[1], cone[2], cone[3] = x, 1, y, 1
                if is_open == 1 or _open_portal(v, x, y, wedge=wedge, xy=xy, cone=cone):
                    stack[0, 0] = over
                    stack[0, 1:] = cone
                    _spread(
                        source, apex, 1, xy=xy, tri=tri, twin=twin, tri_corner=tri_corner,
                        corners=corners, spot_first=no_spots, spots=no_index, spot_xy=no_xy,
                        stack=stack, links=links, pairs=no_pairs, seen=seen, count=count,
                    )  # fmt: skip


@njit(cache=True)
def look_from_spots(
    home: Ints, spot_xy: Floats, xy: Floats, tri: Ints, twin: Ints, tri_corner: Ints,
    corners: Ints, spot_first: Ints, spots: Ints, links: Ints, pairs: Ints, count: Ints,
) -> None:  # fmt: skip
    """Links from free points to the corners and to the other points they see.

    ``home`` rows are (point, triangle it lies in or on); a point on an edge has several.
    """
    no_seen = np.zeros((0, 2), np.int64)
    stack = np.empty((len(tri) + 64, 5), np.int64)
    source = np.zeros(2, np.int64)
    for i, t in home:
        source[0] = i
        apex = spot_xy[i]
        for j in range(spot_first[t], spot_first[t + 1]):
            if count[1] < len(pairs):
                pairs[count[1], 0], pairs[count[1], 1], pairs[count[1], 2] = i, spots[j], t
            count[1] += 1
        for k in range(3):
            _note(
                source, t, k, apex=apex, xy=xy, tri_corner=tri_corner, corners=corners,
                links=links, count=count,
            )  # fmt: skip
            x, y = tri[t, k], tri[t, (k + 1) % 3]
            over = twin[t * 3 + k]
            if over < 0:
                continue
            if orient(apex[0], apex[1], xy[x, 0], xy[x, 1], xy[y, 0], xy[y, 1]) > 0:
                row = stack[0]
                row[0], row[1], row[2], row[3], row[4] = over, x, 1, y, 1
                _spread(
                    source, apex, 1, xy=xy, tri=tri, twin=twin, tri_corner=tri_corner,
                    corners=corners, spot_first=spot_first, spots=spots, spot_xy=spot_xy,
                    stack=stack, links=links, pairs=pairs, seen=no_seen, count=count,
                )  # fmt: skip
