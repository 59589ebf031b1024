"""Attachments as files of their own, which any carrier with the right coupling can take."""

from typing import Self

from pydantic import Field, model_validator

from greaseroute.catalogue.coupling import CouplingKind
from greaseroute.catalogue.joint import Joint, LookPoint, Point3, Service
from greaseroute.catalogue.link import Link
from greaseroute.catalogue.linkage import Cylinder
from greaseroute.records import Record


class Fit(Record):
    """A kind of coupling that an attachment is made for.

    ``pins_mm``: least and most pin diameter of the sizes it is built in; ``drawn_for_mm``: the
    one that the figures of the file are for. On another pin all lengths scale with it, as the
    sizes of a make do.
    """

    kind: CouplingKind
    pins_mm: tuple[float, float]
    drawn_for_mm: float = Field(gt=0)

    @model_validator(mode="after")
    def _in_order(self) -> Self:
        low, high = self.pins_mm
        if not 0 < low <= self.drawn_for_mm <= high:
            raise ValueError("pins_mm must be least and most, with drawn_for_mm between them")
        return self


class Rest(Record):
    """How it is set down in a posture of the carrier.

    ``ground_deg``: angle of its x axis above level, seen from the carrier's right, give or take
    ``within_deg``; boom and stick are worked out so that its lowest corner touches the ground.
    A ``posture`` the carrier does not have is made from its posture ``like``.
    """

    posture: str = Field(min_length=1)
    ground_deg: float
    within_deg: float = Field(default=30.0, ge=0)
    like: str = "greasing"
    title: str = ""


class AttachmentType(Record):
    """What is hung on a coupling: links, joints, checks and how it is set down.

    The first link takes the place of what hung on the coupling and has its frame: origin at the
    pin it turns on, x towards its tip. ``carries_m``: it is a coupler itself, and what hung there
    before, or hangs on next, is carried at that place of it.
    """

    name: str = Field(min_length=1)
    title: str
    origin: str
    fits: tuple[Fit, ...] = Field(min_length=1)
    links: tuple[Link, ...] = Field(min_length=1)
    cylinders: tuple[Cylinder, ...] = ()
    joints: tuple[Joint, ...] = ()
    looks: tuple[LookPoint, ...] = ()
    rests: tuple[Rest, ...] = ()
    angles_deg: dict[str, float] = Field(default_factory=dict)
    carries_m: Point3 | None = None
    cautions: tuple[str, ...] = ()
    start_values: Service = "normal"
    formerly: tuple[str, ...] = ()
    source_file: str = ""
