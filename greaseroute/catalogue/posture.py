"""Postures: named sets of link angles."""

from typing import Annotated

from pydantic import Field

from greaseroute.records import Record

GREASING = "greasing"
"""The posture in which its maker wants a machine greased; people call it the service position."""

Degrees = Annotated[float, Field(ge=-720.0, le=720.0)]
Length = Annotated[float, Field(ge=0.0, le=100.0)]


class Posture(Record):
    """The angles a machine stands in.

    Parameters
    ----------
    name : str
        Such as ``parked`` or ``greasing``.
    title : str
        What it looks like, for people: ``bucket flat on the ground, arm out``.
    angles_deg : dict
        Angle of each turning link against its parent. Links of a four-bar: exactly one of crank
        and rocker; the others follow. A steering link left out stands straight ahead.
    lengths_m : dict
        Instead of an angle, the length of the cylinder that drives a link (its rod link).
    supported : tuple of str
        Links held by a mechanical support in this posture, such as an arm-support device.
    """

    name: str = Field(min_length=1)
    title: str = ""
    angles_deg: dict[str, Degrees] = Field(default_factory=dict)
    lengths_m: dict[str, Length] = Field(default_factory=dict)
    supported: tuple[str, ...] = ()


def position(name: str) -> str:
    """A posture as a technician calls it, with its article: ``the service position``."""
    return "the service position" if name == GREASING else f"posture {name}"
