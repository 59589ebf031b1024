"""Closed chains of a machine type: cylinders and four-bar linkages."""

from typing import Literal, Self

from pydantic import Field, model_validator

from greaseroute.catalogue.joint import Point3
from greaseroute.records import Record

Side = Literal["left", "right"]


class Cylinder(Record):
    """A cylinder between two pins, and how short and long it can be, pin to pin.

    ``head_pin_m`` lies in the frame of ``head_link`` (barrel end), ``rod_pin_m`` in that of
    ``rod_link``. ``diameter_m`` is the barrel's, for outline and sight lines. ``rod_side`` is
    needed only where a posture gives the length: walking from the head pin to the pivot of the
    rod link, seen from the machine's right, the rod pin lies on that side.
    """

    name: str = Field(min_length=1)
    head_link: str
    head_pin_m: Point3
    rod_link: str
    rod_pin_m: Point3
    retracted_m: float = Field(ge=0.01, le=50.0)
    extended_m: float = Field(ge=0.01, le=100.0)
    diameter_m: float = Field(default=0.12, ge=0.005, le=3.0)
    rod_side: Side | None = None

    @model_validator(mode="after")
    def _stroke(self) -> Self:
        if not self.retracted_m < self.extended_m < 2 * self.retracted_m:
            raise ValueError(
                "extended_m must be above retracted_m and below twice it (a rod fits its barrel)"
            )
        return self


class FourBar(Record):
    """Four links closed by four pins: ``ground`` carries crank and rocker, the coupler joins them.

    Crank and rocker are children of ``ground`` (their ``pivot_m`` are the ground pins); the
    coupler is a child of the crank (its ``pivot_m`` is the crank pin). ``coupler_pin_m`` on the
    coupler and ``rocker_pin_m`` on the rocker are the two halves of the fourth pin.

    Two circles meet twice, so each way of driving says which meeting is meant, seen from the
    machine's right: walking from the crank pin to the rocker's ground pin, the fourth pin lies
    on the ``rocker_side``; walking from the fourth pin to the crank's ground pin, the crank pin
    lies on the ``crank_side``.
    """

    name: str = Field(min_length=1)
    ground: str
    crank: str
    coupler: str
    rocker: str
    coupler_pin_m: Point3
    rocker_pin_m: Point3
    rocker_side: Side
    crank_side: Side
