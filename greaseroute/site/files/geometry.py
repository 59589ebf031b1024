"""GeoJSON geometry (RFC 7946 section 3.1) to shapely, with one message for each mistake."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import TypeVar

from shapely.geometry import (
    LineString,
    MultiLineString,
    MultiPolygon,
    Point,
    Polygon,
)
from shapely.geometry.base import BaseGeometry
from shapely.validation import explain_validity

from greaseroute.texts.validation import Path, one_of, shown

LARGEST = 1e9  # beyond any coordinate on the earth, in metres

Position = tuple[float, ...]
Part = TypeVar("Part", LineString, Polygon)


@dataclass(frozen=True, slots=True)
class Mistake:
    """One thing wrong with a geometry, at a path inside its feature."""

    path: Path
    value: str
    allowed: str
    do: str


@dataclass(slots=True)
class GeometryReader:
    """Reads the geometry of one feature and gathers what is wrong with it.

    ``lonlat`` holds positions to the ranges of longitude and latitude.
    """

    lonlat: bool
    mistakes: list[Mistake] = field(default_factory=list)

    def read(self, geometry: object, kinds: Sequence[str]) -> BaseGeometry | None:
        """The shape, or None where ``mistakes`` says why there is none."""
        path: Path = ("geometry",)
        if not isinstance(geometry, dict):
            self._wrong(path, geometry, allowed="a GeoJSON geometry", do="add one")
            return None
        kind = geometry.get("type")
        if kind not in kinds or not isinstance(kind, str):
            self._wrong((*path, "type"), kind, allowed=one_of(kinds), do="draw it as such")
            return None
        if "coordinates" not in geometry:
            self._wrong(path, "no coordinates", allowed="coordinates", do="add them")
            return None
        before = len(self.mistakes)
        shape = _READERS[kind](self, geometry["coordinates"], (*path, "coordinates"))
        return shape if len(self.mistakes) == before else None

    def _wrong(self, path: Path, value: object, *, allowed: str, do: str) -> None:
        self.mistakes.append(Mistake(path, shown(value), allowed, do))

    def _position(self, raw: object, path: Path) -> Position | None:
        """Two or three numbers, in range if they are lon and lat."""
        if not isinstance(raw, list) or not 2 <= len(raw) <= 3 or not all(map(_is_number, raw)):
            allowed = "a position of two or three numbers"
            self._wrong(path, raw, allowed=allowed, do="correct it")
            return None
        position = tuple(float(v) for v in raw)
        if self.lonlat and not (abs(position[0]) <= 180 and abs(position[1]) <= 90):
            swapped = abs(position[0]) <= 90 and abs(position[1]) <= 180
            do = "it looks swapped: longitude comes first" if swapped else "correct it"
            allowed = "longitude -180 to 180, then latitude -90 to 90"
            self._wrong(path, raw, allowed=allowed, do=do)
            return None
        return position

    def _positions(self, raw: object, path: Path, *, least: int) -> list[Position]:
        """A list of at least ``least`` positions; empty where that is not so."""
        if not isinstance(raw, list):
            self._wrong(path, raw, allowed="a list of positions", do="correct it")
            return []
        found = [self._position(p, (*path, n)) for n, p in enumerate(raw)]
        good = [p for p in found if p is not None]
        if len(raw) < least:
            value, do = f"{len(raw)} positions", "add the missing ones"
            self._wrong(path, value, allowed=f"at least {least}", do=do)
            return []
        return good if len(good) == len(raw) else []

    def point(self, raw: object, path: Path) -> Point | None:
        """A single position."""
        position = self._position(raw, path)
        return Point(position) if position else None

    def line(self, raw: object, path: Path) -> LineString | None:
        """Two positions or more, not all the same."""
        positions = self._positions(raw, path, least=2)
        if not positions:
            return None
        line = LineString([p[:2] for p in positions])
        if line.length == 0:
            self._wrong(path, "no length", allowed="a line with a length", do="redraw it")
            return None
        return line

    def polygon(self, raw: object, path: Path) -> Polygon | None:
        """Closed rings, the outer one first; either winding is taken (RFC 7946 section 3.1.6)."""
        if not isinstance(raw, list) or not raw:
            self._wrong(path, raw, allowed="a list of rings", do="correct it")
            return None
        rings = [self._ring(r, (*path, n)) for n, r in enumerate(raw)]
        good = [r for r in rings if r]
        if len(good) != len(rings):
            return None
        polygon = Polygon(good[0], good[1:])
        if not polygon.is_valid:
            reason = explain_validity(polygon).replace("[", " at ").replace("]", "")
            allowed = "an outline that does not cross itself"
            self._wrong(path, reason, allowed=allowed, do="redraw it")
            return None
        if polygon.area == 0:
            self._wrong(path, "no area", allowed="an area", do="redraw it")
            return None
        return polygon

    def _ring(self, raw: object, path: Path) -> list[Position]:
        """Positions of a ring whose last equals its first."""
        ring = [p[:2] for p in self._positions(raw, path, least=4)]
        if ring and ring[0] != ring[-1]:
            value = f"last position {list(ring[-1])}"
            allowed = f"the first one again, {list(ring[0])}"
            self._wrong(path, value, allowed=allowed, do="close the ring")
            return []
        return ring

    def many(
        self, raw: object, path: Path, read: Callable[[object, Path], Part | None]
    ) -> list[Part]:
        """The parts of a Multi geometry."""
        if not isinstance(raw, list) or not raw:
            self._wrong(path, raw, allowed="a list of parts", do="correct it")
            return []
        parts = [read(p, (*path, n)) for n, p in enumerate(raw)]
        return [p for p in parts if p is not None]

    def multi_line(self, raw: object, path: Path) -> MultiLineString:
        """Several lines."""
        return MultiLineString(self.many(raw, path, self.line))

    def multi_polygon(self, raw: object, path: Path) -> MultiPolygon:
        """Several polygons."""
        return MultiPolygon(self.many(raw, path, self.polygon))


def _is_number(value: object) -> bool:
    """A JSON number within reason; true and false are none, and NaN and infinity fail the range."""
    number = isinstance(value, int | float) and not isinstance(value, bool)
    return number and -LARGEST < value < LARGEST  # type: ignore[operator]


_READERS: dict[str, Callable[[GeometryReader, object, Path], BaseGeometry | None]] = {
    "Point": GeometryReader.point,
    "LineString": GeometryReader.line,
    "Polygon": GeometryReader.polygon,
    "MultiLineString": GeometryReader.multi_line,
    "MultiPolygon": GeometryReader.multi_polygon,
}
