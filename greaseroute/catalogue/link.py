"""Links: the rigid parts of a machine type and the solids that stand for them."""

from itertools import product
from typing import Literal, Self

from pydantic import Field, model_validator

from greaseroute.catalogue.joint import Metres, Point3
from greaseroute.records import Record

Axis = Literal["slew", "pitch", "steer", "fixed"]
Role = Literal["drive shaft", "steered axle", "wheel", "drum", "rotor"]
"""What a link is where rules of the trade hang on it; all but an axle turn without end."""


class Solid(Record):
    """A convex body in the frame of its link, given in exactly one of three ways.

    - ``box_m``: two opposite corners;
    - ``profile_m`` with ``y_m``: the outline seen from the side as (x, z) corners, drawn out
      from one y to the other;
    - ``hull_m``: at least four points whose convex hull it is.
    """

    name: str = Field(min_length=1)
    box_m: tuple[Point3, Point3] | None = None
    profile_m: tuple[tuple[Metres, Metres], ...] | None = Field(default=None, min_length=3)
    y_m: tuple[Metres, Metres] | None = None
    hull_m: tuple[Point3, ...] | None = Field(default=None, min_length=4)

    @model_validator(mode="after")
    def _one_way(self) -> Self:
        ways = [self.box_m is not None, self.profile_m is not None, self.hull_m is not None]
        if sum(ways) != 1 or (self.profile_m is None) != (self.y_m is None):
            raise ValueError("give box_m, or profile_m with y_m, or hull_m")
        if self.box_m and any(a >= b for a, b in zip(*self.box_m, strict=True)):
            raise ValueError("box_m needs the lower corner first, then the higher in x, y and z")
        if self.y_m and self.y_m[0] >= self.y_m[1]:
            raise ValueError("y_m needs the right side (smaller y) first")
        return self

    @property
    def corners_m(self) -> tuple[Point3, ...]:
        """Points whose convex hull is this solid, in the link's frame."""
        if self.box_m is not None:
            low, high = self.box_m
            return tuple((x, y, z) for x, y, z in product(*zip(low, high, strict=True)))
        if self.profile_m is not None and self.y_m is not None:
            return tuple((x, y, z) for y in self.y_m for x, z in self.profile_m)
        return self.hull_m or ()


class Link(Record):
    """A rigid part, hung on its parent at ``pivot_m`` (parent's frame) and turned about one axis.

    The first link has no parent; its frame is the machine's: x forward, y left, z up, origin on
    the ground. ``axis``: ``slew`` and ``steer`` turn about z, positive to the left; ``pitch``
    turns about y, positive raises what lies forward; ``fixed`` does not turn. ``on_oil``: the
    link is carried by cylinders and comes down if their oil is lost, unless it rests on the
    ground or on a support in the posture at hand. ``role`` says what it is where rules of the
    trade hang on it: no line is led to what turns without end.
    """

    name: str = Field(min_length=1)
    parent: str | None = None
    pivot_m: Point3 = (0.0, 0.0, 0.0)
    axis: Axis = "fixed"
    on_oil: bool = False
    role: Role | None = None
    solids: tuple[Solid, ...] = ()

    @property
    def spins(self) -> bool:
        """Whether it turns without end while the machine works."""
        return self.role is not None and self.role != "steered axle"
