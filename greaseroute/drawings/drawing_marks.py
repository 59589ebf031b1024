"""Numbers, crosses and stands on a drawing of a machine."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from shapely.geometry.base import BaseGeometry

from greaseroute.catalogue.joint import Point3
from greaseroute.drawings.machine_shapes import Projection
from greaseroute.drawings.ring_labels import ring_places
from greaseroute.drawings.svg import Point2, View, num, tag, words

DISC_PX = 9.0

MarkKind = Literal["pump", "never", "look"]


@dataclass(frozen=True, slots=True)
class Mark:
    """A fitting (``pump``), a place never pumped (``never``) or one only looked at (``look``)."""

    label: str
    at_m: Point3
    kind: MarkKind = "pump"


@dataclass(frozen=True, slots=True)
class StandMark:
    """A place for the feet, with its letter; ``raised`` where it is on a deck."""

    label: str
    at_m: Point2
    raised: bool = False


@dataclass(frozen=True, slots=True)
class Numbered:
    """Numbers as drawn, and where their middles are in the picture."""

    parts: tuple[str, ...]
    places: tuple[Point2, ...]


def numbers(
    marks: Sequence[Mark],
    outline: BaseGeometry,
    project: Projection,
    *,
    keep_out: Sequence[Point2] = (),
) -> Numbered:
    """Leaders first, then the marks themselves, then the numbers on top.

    ``outline`` is the silhouette in the picture; ``keep_out`` are places already taken.
    """
    at = [project(mark.at_m) for mark in marks]
    places = ring_places(outline, at, keep_out=keep_out)
    leads = [
        tag("path", d=f"M{num(a[0])} {num(a[1])}L{num(b[0])} {num(b[1])}", class_="m-lead")
        for a, b in zip(at, places, strict=True)
    ]
    spots = [_spot(mark, point) for mark, point in zip(marks, at, strict=True)]
    discs = [_disc(mark, point) for mark, point in zip(marks, places, strict=True)]
    return Numbered((*leads, *spots, *discs), tuple(places))


def _spot(mark: Mark, at: Point2) -> str:
    """The mark on the machine: a dot, a diamond to look at, a cross never to pump."""
    x, y = at
    if mark.kind == "never":
        cross = f"M{num(x - 4)} {num(y - 4)}l8 8m0-8l-8 8"
        return tag("path", d=cross, class_="m-noedge") + tag("path", d=cross, class_="m-no")
    if mark.kind == "look":
        return tag("path", d=f"M{num(x)} {num(y - 4)}l4 4l-4 4l-4-4Z", class_="m-pin")
    return tag("circle", cx=x, cy=y, r="2.8", class_="m-fit")


def _disc(mark: Mark, at: Point2) -> str:
    """The label: round for a fitting, square for the rest, broken edge for a look."""
    x, y = at
    small = "font-size:8px" if len(mark.label) > 2 else None
    text = words(mark.label, (x, y + 3.8), class_="m-t", style=small)
    if mark.kind == "pump":
        return tag("circle", cx=x, cy=y, r=DISC_PX, class_="m-disc") + text
    side = num(2 * DISC_PX)
    square = tag(
        "rect",
        x=x - DISC_PX,
        y=y - DISC_PX,
        width=side,
        height=side,
        class_="m-disc",
        stroke_dasharray="3 2" if mark.kind == "look" else None,
    )
    return square + text


def stand(mark: StandMark, view: View) -> str:
    """A stand: a black square with its letter; white with a thick edge on a deck."""
    x, y = view(*mark.at_m)
    kind = "m-deck" if mark.raised else "m-foot"
    square = tag("rect", x=x - 7, y=y - 7, width="14", height="14", rx="2", class_=kind)
    return square + words(mark.label, (x, y + 3.6), class_=f"m-t {kind}-t")
