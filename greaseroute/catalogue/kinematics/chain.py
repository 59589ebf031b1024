"""Angles and frames of one machine in one posture, each worked out when first asked for."""

import math
from dataclasses import dataclass, field

import numpy as np

from greaseroute.catalogue.frames import Frame, point_at, turn
from greaseroute.catalogue.joint import Point3
from greaseroute.catalogue.kinematics.circles import (
    CirclesApartError,
    Point2,
    circles_meet,
    direction_deg,
)
from greaseroute.catalogue.kinematics.four_bar import PlanarFourBar
from greaseroute.catalogue.link import Link
from greaseroute.catalogue.linkage import Cylinder, FourBar
from greaseroute.catalogue.machine_type import MachineType
from greaseroute.catalogue.posture import Posture
from greaseroute.errors import PostureRefused


@dataclass
class Chain:
    """The links of a machine in a posture. All raise PostureRefused where an angle is missing,
    depends on itself, or a chain cannot close.
    """

    machine: MachineType
    posture: Posture
    slew_deg: float = 0.0
    _angles: dict[str, float] = field(default_factory=dict)
    _frames: dict[str, Frame] = field(default_factory=dict)
    _asked: set[str] = field(default_factory=set)

    def frame(self, name: str) -> Frame:
        """Frame of a link in the machine's frame, (4, 4)."""
        if name not in self._frames:
            link = self.machine.links_by_name[name]
            here = turn(link.axis, self.angle(name))
            here[:3, 3] = link.pivot_m
            self._frames[name] = self.frame(link.parent) @ here if link.parent else here
        return self._frames[name]

    def angle(self, name: str) -> float:
        """Angle in degrees of a link against its parent, given or solved."""
        if name not in self._angles:
            if name in self._asked:
                raise self._refused(name, "its angle depends on itself", "give it in the posture")
            self._asked.add(name)
            self._angles[name] = self._worked_out(self.machine.links_by_name[name])
        return self._angles[name]

    def _worked_out(self, link: Link) -> float:
        given = self.posture.angles_deg.get(link.name)
        if link.axis == "slew":
            return self.slew_deg + (given or 0.0)
        if given is not None or link.axis in ("fixed", "steer"):
            return given or 0.0
        cylinder = self._driver(link.name)
        if cylinder is not None:
            return self._driven(link, cylinder)
        for bar in self.machine.four_bars:
            if link.name in (bar.crank, bar.coupler, bar.rocker):
                return self._closed(bar, link.name)
        raise self._refused(link.name, "no angle given", "give it in angles_deg of the posture")

    def _driver(self, link: str) -> Cylinder | None:
        """The cylinder whose length the posture gives and that drives the link."""
        lengths = self.posture.lengths_m
        found = (c for c in self.machine.cylinders if c.rod_link == link and c.name in lengths)
        return next(found, None)

    def _driven(self, link: Link, cylinder: Cylinder) -> float:
        """Angle of a link from its cylinder's length: the rod pin lies where two circles meet."""
        if cylinder.rod_side is None or link.parent is None:
            raise self._refused(cylinder.name, "no rod_side given", "say left or right")
        length_m = self.posture.lengths_m[cylinder.name]
        to_parent = np.linalg.inv(self.frame(link.parent)) @ self.frame(cylinder.head_link)
        head = point_at(to_parent, cylinder.head_pin_m)
        aside_m = head[1] - link.pivot_m[1] - cylinder.rod_pin_m[1]
        flat_m = math.sqrt(max(length_m**2 - aside_m**2, 0.0))
        pivot, rod = _flat(link.pivot_m), _flat(cylinder.rod_pin_m)
        try:
            meet = circles_meet(
                (_flat(head), flat_m), (pivot, math.hypot(*rod)), side=cylinder.rod_side
            )
        except CirclesApartError as apart:
            found = f"{cylinder.name} at {length_m:.3f} m: {apart}"
            raise self._refused(link.name, found, "change the length in the posture") from apart
        return direction_deg(pivot, meet) - direction_deg((0.0, 0.0), rod)

    def _closed(self, bar: FourBar, name: str) -> float:
        planar = planar_four_bar(bar, self.machine)
        by_crank = self._given(bar.crank) or not self._given(bar.rocker)
        if name == (bar.crank if by_crank else bar.rocker):
            needs = f"no angle given for {bar.crank} or {bar.rocker}"
            raise self._refused(bar.name, needs, "give one of them in the posture")
        try:
            if name == bar.rocker:
                return planar.rocker_deg(self.angle(bar.crank))
            if name == bar.crank:
                return planar.crank_deg(self.angle(bar.rocker))
            return planar.coupler_deg(self.angle(bar.crank), self.angle(bar.rocker))
        except CirclesApartError as apart:
            found = f"the four-bar cannot close: {apart}"
            raise self._refused(bar.name, found, "change its pins or the driving angle") from apart

    def _given(self, link: str) -> bool:
        return link in self.posture.angles_deg or self._driver(link) is not None

    def _refused(self, what: str, found: str, next_step: str) -> PostureRefused:
        return PostureRefused(
            f"{self.machine.name}, posture {self.posture.name}",
            f"{what}: {found}",
            limit="chains that close, every angle known",
            next_step=next_step,
        )


def planar_four_bar(bar: FourBar, machine: MachineType) -> PlanarFourBar:
    """The four-bar in the x-z plane of its ground link."""
    links = machine.links_by_name
    return PlanarFourBar(
        crank_pivot=_flat(links[bar.crank].pivot_m),
        rocker_pivot=_flat(links[bar.rocker].pivot_m),
        crank_pin=_flat(links[bar.coupler].pivot_m),
        coupler_pin=_flat(bar.coupler_pin_m),
        rocker_pin=_flat(bar.rocker_pin_m),
        rocker_side=bar.rocker_side,
        crank_side=bar.crank_side,
    )


def _flat(point: Point3) -> Point2:
    return (point[0], point[2])
