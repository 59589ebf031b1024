"""Why there is no path: the point that is not free, or what cuts two points off."""

from typing import Protocol

import shapely
from shapely.geometry import LineString, Point
from shapely.geometry.base import BaseGeometry

from greaseroute.records import Record
from greaseroute.walk.obstacles import SEAL_M, Closed, named_at

MANY = 5


class NoPath(Record):
    """There is no way; ``where`` names the obstacle, barrier or zone, if one can be named.

    ``helps`` says what would open a way.
    """

    reason: str
    where: str | None = None
    helps: str = ""


class _Ground(Protocol):
    boundary: BaseGeometry
    closed: tuple[Closed, ...]
    clearance_m: float

    @property
    def free(self) -> BaseGeometry: ...


def why_no_path(ground: _Ground, a: Point, b: Point) -> NoPath:
    """The reason why one cannot walk from a to b."""
    for word, point in (("the start", a), ("the goal", b)):
        if ground.free.is_empty or ground.free.distance(point) > SEAL_M:
            return _not_free(ground, word, point=point)
    return _cut_off(ground, a, b)


def _at(point: Point) -> str:
    return f"({point.x:.2f} {point.y:.2f})"


def _not_free(ground: _Ground, word: str, *, point: Point) -> NoPath:
    if not ground.boundary.covers(point):
        return NoPath(
            reason=f"{word} {_at(point)} is outside the boundary", where="boundary",
            helps="move the point or the boundary",
        )  # fmt: skip
    found = named_at(ground.closed, point)
    if found is None:
        reason = f"{word} {_at(point)} is in a seam between shapes that touch"
        return NoPath(reason=reason, where=None, helps="move the point")
    name, near = found
    how = f"nearer than {ground.clearance_m:g} m to" if near else "inside"
    return NoPath(
        reason=f"{word} {_at(point)} is {how} {name}", where=name,
        helps=f"move the point off {name}",
    )  # fmt: skip


def _part(ground: BaseGeometry, point: Point) -> BaseGeometry:
    parts = shapely.get_parts(ground)
    nearest: BaseGeometry = parts[int(shapely.distance(parts, point).argmin())]
    return nearest


def _cut_off(ground: _Ground, a: Point, b: Point) -> NoPath:
    """Name the shape that alone keeps a from b; else those that fence in the smaller part."""
    parts = sorted((_part(ground.free, a), _part(ground.free, b)), key=lambda p: p.area)
    if parts[0].equals(parts[1]):
        return NoPath(reason=f"no way from {_at(a)} to {_at(b)}", where=None)
    around = [c for c in ground.closed if c.kept_off.distance(parts[0]) <= 2 * SEAL_M]
    for item in sorted(around, key=lambda c: c.shape.distance(LineString([a, b]))):
        if _opens(ground, item, parts=parts):
            return NoPath(
                reason=f"{item.name} closes every way from {_at(a)} to {_at(b)}",
                where=item.name, helps=f"open {item.name}",
            )  # fmt: skip
    names = ", ".join(c.name for c in around[:MANY]) + (" and others" if len(around) > MANY else "")
    return NoPath(
        reason=f"no way from {_at(a)} to {_at(b)}: cut off by {names or 'the boundary'}",
        where=around[0].name if around else "boundary", helps="open a way between them",
    )  # fmt: skip


def _opens(ground: _Ground, item: Closed, *, parts: list[BaseGeometry]) -> bool:
    """Whether the two parts would join if this one shape were not there."""
    others = shapely.union_all([c.kept_off for c in ground.closed if c is not item])
    opened = item.kept_off.intersection(ground.boundary).difference(others)
    joined = shapely.union_all([opened.buffer(2 * SEAL_M), *parts])
    return any(p.intersects(parts[0]) and p.intersects(parts[1]) for p in shapely.get_parts(joined))
