"""SVG by hand: elements as text, everything escaped, numbers short, no ids to clash."""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from html import escape

import numpy as np
import shapely
from shapely.affinity import rotate
from shapely.geometry import LineString, MultiLineString, MultiPolygon, Polygon
from shapely.geometry.base import BaseGeometry

Point2 = tuple[float, float]
Box = tuple[float, float, float, float]  # left, top, right, bottom in the picture
# Mean advance of a letter as a share of the type size, a little on the wide side so that boxes
# reserved for a text hold it in any of the fonts above (measured on the widest of them).
LETTER_WIDTH = 0.62


def num(value: float) -> str:
    """A coordinate with at most one decimal: ``12``, ``12.5``, never ``-0``."""
    text = f"{value:.1f}".removesuffix(".0")
    return "0" if text == "-0" else text


def tag(name: str, body: str = "", **attributes: object) -> str:
    """One element. ``stroke_width`` becomes ``stroke-width``, ``class_`` ``class``; floats short.

    Attribute values are escaped; ``body`` is taken as markup.
    """
    parts = [name]
    for key, value in attributes.items():
        if value is None:
            continue
        text = num(value) if isinstance(value, float) else str(value)
        parts.append(f'{key.rstrip("_").replace("_", "-")}="{escape(text)}"')
    head = " ".join(parts)
    return f"<{head}>{body}</{name}>" if body else f"<{head}/>"


def words(text: str, at: Point2, **attributes: object) -> str:
    """A text element at a point of the picture."""
    return tag("text", escape(text), x=float(at[0]), y=float(at[1]), **attributes)


def text_width(text: str, size: float) -> float:
    """Width to reserve for a text of a type size, in the same unit."""
    return len(text) * size * LETTER_WIDTH


@dataclass(frozen=True, slots=True)
class View:
    """From metres to the picture: ``left_m``/``top_m`` land on ``origin``; y grows downwards."""

    left_m: float
    top_m: float
    scale: float
    origin: Point2 = (0.0, 0.0)

    def __call__(self, x_m: float, y_m: float) -> Point2:
        """Place of a point in the picture."""
        return (
            self.origin[0] + (x_m - self.left_m) * self.scale,
            self.origin[1] + (self.top_m - y_m) * self.scale,
        )


def line_data(points_m: Iterable[Sequence[float]], view: View, *, close: bool = False) -> str:
    """Path data of a line through points in metres; repeated points of the picture are dropped."""
    pairs: list[str] = []
    for point in points_m:
        x, y = view(point[0], point[1])
        pair = f"{num(x)} {num(y)}"
        if not pairs or pairs[-1] != pair:
            pairs.append(pair)
    return "M" + "L".join(pairs) + ("Z" if close else "") if pairs else ""


def area_data(area: BaseGeometry, view: View) -> str:
    """Path data of a polygon or several, holes included (fill-rule evenodd)."""
    rings = [ring for part in polygons(area) for ring in (part.exterior, *part.interiors)]
    return "".join(line_data(corners(ring), view, close=True) for ring in rings)


def corners(line: BaseGeometry) -> list[list[float]]:
    """The points of a line, quicker than ``line.coords`` gives them one by one."""
    points: list[list[float]] = shapely.get_coordinates(line).tolist()
    return points


def polygons(area: BaseGeometry) -> tuple[Polygon, ...]:
    """The polygons of a geometry, without its points and lines."""
    if isinstance(area, Polygon):
        return () if area.is_empty else (area,)
    return tuple(part for piece in getattr(area, "geoms", ()) for part in polygons(piece))


def lines(shape: BaseGeometry) -> tuple[LineString, ...]:
    """The lines of a geometry."""
    if isinstance(shape, LineString):
        return () if shape.is_empty else (shape,)
    return tuple(part for piece in getattr(shape, "geoms", ()) for part in lines(piece))


def hatch(area: BaseGeometry, *, gap_m: float, angle_deg: float = 45.0) -> tuple[LineString, ...]:
    """Parallel lines ``gap_m`` apart inside an area: a fill that prints and survives any viewer."""
    if area.is_empty:
        return ()
    turned = rotate(area, -angle_deg, origin=(0.0, 0.0))
    left, bottom, right, top = turned.bounds
    first = math.ceil(bottom / gap_m)
    levels = np.arange(first, math.floor(top / gap_m) + 1) * gap_m
    bars = MultiLineString([[(left - 1, y), (right + 1, y)] for y in levels])
    inside = rotate(bars.intersection(turned), angle_deg, origin=(0.0, 0.0))
    return lines(inside)


def hatch_data(area: BaseGeometry, view: View, *, gap: float, angle_deg: float = 45.0) -> str:
    """Path data of a hatching whose lines lie ``gap`` apart in the picture."""
    bars = hatch(area, gap_m=gap / view.scale, angle_deg=angle_deg)
    return "".join(line_data(corners(bar), view) for bar in bars)


def picture(
    body: str, *, size: Point2, label: str, style: str = "", corner: Point2 = (0.0, 0.0)
) -> str:
    """A whole SVG document; ``label`` is read out to those who do not see it."""
    width, height, left, top = map(num, (*size, *corner))
    css = f"<style>{style}</style>" if style else ""
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="{left} {top} {width} {height}" '
        f'width="{width}" height="{height}" role="img" aria-label="{escape(label)}">'
        f"<title>{escape(label)}</title>{css}{body}</svg>\n"
    )


def scale_bar(view_scale: float, *, at: Point2, longest: float, class_: str) -> str:
    """A bar of a round number of metres, at most ``longest`` in the picture, with its length."""
    length_m = round_length(longest / view_scale)
    x, y = at
    right = x + length_m * view_scale
    bar = f"M{num(x)} {num(y - 4)}V{num(y)}H{num(right)}V{num(y - 4)}"
    label = words(f"{length_m:g} m", ((x + right) / 2, y - 5), class_=class_, text_anchor="middle")
    return tag("path", d=bar, fill="none", stroke="#222", stroke_width="1.2") + label


def round_length(longest_m: float) -> float:
    """The largest of 1, 2, 5, 10, 20, 50 ... (or 0.1, 0.2, 0.5) that is not above ``longest_m``."""
    power = 10.0 ** math.floor(math.log10(longest_m))
    return max(step * power for step in (1, 2, 5) if step * power <= longest_m * (1 + 1e-9))


def joined(areas: Iterable[Polygon]) -> BaseGeometry:
    """Several polygons as one geometry, for drawing them in one go."""
    return MultiPolygon([part for area in areas for part in polygons(area)])
