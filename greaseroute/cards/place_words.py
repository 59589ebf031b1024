"""Where a place for the feet is, in words: by the part of the machine one stands at.

``left of the stick, at the bucket``: sides are those of the part itself, looking to its front, so
that they stay true when the upper part of a machine is slewed away from its tracks. No two places
of a stop have the same words.
"""

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry import Point
from shapely.geometry.base import BaseGeometry

from greaseroute.catalogue.kinematics.link_frames import link_frames
from greaseroute.catalogue.kinematics.placed import PlacedMachine
from greaseroute.plan.round import StandVisit

Vector = NDArray[np.float64]

AS_NEAR_M = 0.15  # of parts as near as that the largest gives the name
END_SHARE = 0.3  # of a part's length that counts as its end
MIDDLE_SHARE = 0.15  # of a part's width to either hand that counts as its middle
ORDINALS = ("first", "second", "third", "fourth", "fifth", "sixth", "seventh", "eighth", "ninth")


@dataclass(frozen=True, slots=True)
class _Part:
    """A link seen from above: its outline, and the way its front looks (a unit vector)."""

    name: str
    outline: BaseGeometry
    front: Vector

    def seen_from(self, at: Vector) -> tuple[float, float, tuple[float, float, float, float]]:
        """(ahead, left) of a point and (rear, front, right, left) of the part, in metres."""
        left = np.array([-self.front[1], self.front[0]])
        points = shapely.get_coordinates(self.outline)
        ahead_m, left_m = points @ self.front, points @ left
        box = (ahead_m.min(), ahead_m.max(), left_m.min(), left_m.max())
        return float(at @ self.front), float(at @ left), box


def place_words(
    groups: Iterable[tuple[Sequence[StandVisit], PlacedMachine]],
) -> list[tuple[str, ...]]:
    """The words of each place of a stop; no two are the same.

    A group is the places of one posture in their order, with the machine in that posture; so are
    the answers.
    """
    groups = list(groups)
    texts, ahead_m = [], []
    for visits, placed in groups:
        parts = _parts(placed)
        texts += [_words(visit, placed, parts) for visit in visits]
        ahead_m += [_ahead(visit, placed) for visit in visits]
    told = iter(_told_apart(texts, ahead_m))
    return [tuple(next(told) for _ in visits) for visits, _ in groups]


def _parts(placed: PlacedMachine) -> dict[str, _Part]:
    """Every link that has a body, by name; without wheels, shafts and steered axles."""
    kind = placed.machine_type
    frames = link_frames(kind, placed.posture, placed.pose.slew_deg)
    parents = {link.name: link for link in kind.links}
    parts = {}
    for name in parents:
        shapes = [solid.footprint for solid in placed.solids if solid.link == name]
        if not shapes or parents[name].role is not None:
            continue  # nobody says that he stands at a wheel's knuckle or a shaft
        link = parents[name]
        while link.parent and link.axis not in ("slew", "steer"):
            link = parents[link.parent]
        front = (placed.pose.frame @ frames[link.name])[:2, 0]
        parts[name] = _Part(name, shapely.union_all(shapes), front / np.linalg.norm(front))
    return parts


def _words(visit: StandVisit, placed: PlacedMachine, parts: dict[str, _Part]) -> str:
    if visit.deck:
        return f"on the {visit.deck}, {visit.height_m:.1f} m up"
    feet = Point(visit.x_m, visit.y_m)
    far = {name: part.outline.distance(feet) for name, part in parts.items()}
    near_m = min(far.values())
    near = max(
        (part for name, part in parts.items() if far[name] <= near_m + AS_NEAR_M),
        key=lambda part: part.outline.area,
    )
    side, along = _side(np.array([visit.x_m, visit.y_m]), near)
    work = _worked_at(visit, placed)
    if work and work != near.name:
        along = along if side in ("in front of", "behind") else ""
        return f"{side} the {near.name}{along}, at the {work}"
    return f"{side} the {near.name}{along}"


def _side(at: Vector, part: _Part) -> tuple[str, str]:
    """On which side of a part a point lies, and at which end, looking to its front."""
    ahead, left, (rear, front, right_edge, left_edge) = part.seen_from(at)
    beyond = {
        "left of": left - left_edge,
        "right of": right_edge - left,
        "in front of": ahead - front,
        "behind": rear - ahead,
    }
    side = max(beyond, key=lambda word: beyond[word])
    if side not in ("left of", "right of"):
        share = (left - right_edge) / max(left_edge - right_edge, 1e-9)
        hand = ", on its left" if share > 0.5 else ", on its right"
        return side, hand if abs(share - 0.5) > MIDDLE_SHARE else ""
    share = (ahead - rear) / max(front - rear, 1e-9)
    end = " front" if share > 1 - END_SHARE else " rear" if share < END_SHARE else " middle"
    return side, f", at its{end}"


def _worked_at(visit: StandVisit, placed: PlacedMachine) -> str:
    """The part that most of the fittings of a place sit on; "" where it has none."""
    links = {(f.joint.name, f.fitting.name): f.link for f in placed.fittings}
    found = [links.get((task.joint, task.fitting), "") for task in visit.fittings]
    bodies = {solid.link for solid in placed.solids}
    named = Counter(name for name in found if name in bodies)
    return named.most_common(1)[0][0] if named else ""


def _ahead(visit: StandVisit, placed: PlacedMachine) -> float:
    """How far a place lies towards the front of the machine."""
    front = placed.pose.frame[:2, 0]
    return float(np.array([visit.x_m, visit.y_m]) @ front)


def _told_apart(texts: Sequence[str], ahead_m: Sequence[float]) -> list[str]:
    """The texts, those that are the same numbered from the front of the machine."""
    told = list(texts)
    for text, number in Counter(texts).items():
        if number > 1:
            same = [k for k, other in enumerate(texts) if other == text]
            for place, k in enumerate(sorted(same, key=lambda k: -ahead_m[k]), 1):
                told[k] = f"{text}, {_ordinal(place)} from the front"
    return told


def _ordinal(number: int) -> str:
    return ORDINALS[number - 1] if number <= len(ORDINALS) else f"{number}th"
