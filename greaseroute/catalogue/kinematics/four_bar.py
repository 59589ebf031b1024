"""A four-bar linkage in its plane: dependent angles solved, never typed in."""

import math
from dataclasses import dataclass

from greaseroute.catalogue.kinematics.circles import (
    Point2,
    circles_meet,
    direction_deg,
    turned,
    wrapped_deg,
)
from greaseroute.catalogue.linkage import Side

_ORIGIN = (0.0, 0.0)


@dataclass(frozen=True, slots=True)
class PlanarFourBar:
    """Four links in one plane, the ground link's (x, z).

    ``crank_pivot`` and ``rocker_pivot`` are the ground pins; ``crank_pin`` is on the crank,
    ``coupler_pin`` on the coupler (whose origin is the crank pin), ``rocker_pin`` on the rocker.
    Angles in degrees, of crank and rocker against the ground link, of the coupler against the
    crank. Sides as in ``FourBar``. All raise CirclesApartError where the chain cannot close.
    """

    crank_pivot: Point2
    rocker_pivot: Point2
    crank_pin: Point2
    coupler_pin: Point2
    rocker_pin: Point2
    rocker_side: Side
    crank_side: Side

    def rocker_deg(self, crank_deg: float) -> float:
        """Rocker angle for a crank angle: fourth pin where coupler and rocker circles meet."""
        crank_at = _placed(self.crank_pivot, self.crank_pin, crank_deg)
        meet = circles_meet(
            (crank_at, math.hypot(*self.coupler_pin)),
            (self.rocker_pivot, math.hypot(*self.rocker_pin)),
            side=self.rocker_side,
        )
        return _angle_to(self.rocker_pivot, meet, self.rocker_pin)

    def crank_deg(self, rocker_deg: float) -> float:
        """Crank angle for a rocker angle: crank pin where coupler and crank circles meet."""
        fourth_at = _placed(self.rocker_pivot, self.rocker_pin, rocker_deg)
        meet = circles_meet(
            (fourth_at, math.hypot(*self.coupler_pin)),
            (self.crank_pivot, math.hypot(*self.crank_pin)),
            side=self.crank_side,
        )
        return _angle_to(self.crank_pivot, meet, self.crank_pin)

    def coupler_deg(self, crank_deg: float, rocker_deg: float) -> float:
        """Coupler angle against the crank, for crank and rocker angles that close."""
        crank_at = _placed(self.crank_pivot, self.crank_pin, crank_deg)
        fourth_at = _placed(self.rocker_pivot, self.rocker_pin, rocker_deg)
        return wrapped_deg(_angle_to(crank_at, fourth_at, self.coupler_pin) - crank_deg)


def _placed(pivot: Point2, pin: Point2, angle_deg: float) -> Point2:
    x, z = turned(pin, angle_deg)
    return (pivot[0] + x, pivot[1] + z)


def _angle_to(pivot: Point2, target: Point2, pin: Point2) -> float:
    """Angle that a link on ``pivot`` has when its ``pin`` is at ``target``."""
    return wrapped_deg(direction_deg(pivot, target) - direction_deg(_ORIGIN, pin))
