"""Places on a machine's own decks, and the climb to them."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np
import shapely
from shapely.geometry import Polygon
from shapely.geometry.base import BaseGeometry

from greaseroute.stands.reach import Array
from greaseroute.stands.ring import NUDGE_M, nearest_points
from greaseroute.stands.stand import Point2

DECK_GRID_M = 0.4
# The foot of the steps is at the machine's skin; one walks to the nearest free ground before it.
FOOT_WITHIN_M = 1.5


class DeckPlace(Protocol):
    """What a placed deck must offer here."""

    @property
    def name(self) -> str: ...  # noqa: D102

    @property
    def footprint(self) -> Polygon: ...  # noqa: D102

    @property
    def height_m(self) -> float: ...  # noqa: D102

    @property
    def foot_m(self) -> Point2: ...  # noqa: D102


@dataclass(frozen=True, slots=True)
class DeckPoints:
    """Places on one deck, (n, 3), the foot of its steps on free ground, seconds up and down."""

    name: str
    places: Array
    foot_m: Point2
    climb_s: float


def deck_points(
    decks: Sequence[DeckPlace], *, free: BaseGeometry, climb_m_s: float
) -> list[DeckPoints]:
    """Places on every deck whose steps can be walked to.

    Climbing counts up and down again, height / ``climb_m_s`` each way; three points of contact
    mean empty hands, which the climbing speed allows for.
    """
    found = []
    for deck in decks:
        foot = free_foot(free, deck.foot_m)
        if foot is not None:
            spots = _on_deck(deck.footprint)
            places = np.column_stack([spots, np.full(len(spots), deck.height_m)])
            found.append(DeckPoints(deck.name, places, foot, 2 * deck.height_m / climb_m_s))
    return found


def free_foot(free: BaseGeometry, foot_m: Point2) -> Point2 | None:
    """The nearest free ground to the foot of the steps, None where it is too far from it."""
    near = nearest_points(free, np.asarray([foot_m[:2]], dtype=float))
    if not len(near) or np.hypot(*(near[0] - np.asarray(foot_m[:2]))) > FOOT_WITHIN_M:
        return None
    return float(near[0, 0]), float(near[0, 1])


def _on_deck(footprint: Polygon) -> Array:
    """Evenly spread places on a deck: its corners and edges a little inside, and its middle."""
    edge = footprint.buffer(-NUDGE_M).exterior
    parts = max(4, int(np.ceil(edge.length / DECK_GRID_M)))
    begin = shapely.get_coordinates(edge)[:-1]
    spots = [begin, shapely.get_coordinates([footprint.centroid])]
    run = np.diff(shapely.get_coordinates(edge), axis=0)
    for corner, leg in zip(begin, run, strict=True):
        count = max(1, round(parts * float(np.hypot(*leg)) / edge.length))
        spots.append(corner + leg * (np.arange(1, count) / count)[:, None])
    return np.vstack(spots)
