"""Machines where they stand: placed by the catalogue's kinematics, the ground each one closes."""

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import shapely
from shapely.geometry import Polygon
from shapely.geometry.base import BaseGeometry

from greaseroute.audit.basis import Basis
from greaseroute.audit.house_rules import HEADROOM_M
from greaseroute.audit.surface import Floats
from greaseroute.catalogue.kinematics.placed import PlacedMachine, Pose, place
from greaseroute.errors import PostureRefused, UnknownName

Extent = tuple[Floats, Floats]
Stance = tuple[str, str]  # unit and posture


@dataclass(frozen=True, eq=False)
class Machines:
    """Every unit in the posture it stands in and in those that the plan has it stand in."""

    basis: Basis

    @cached_property
    def asked_for(self) -> Mapping[str, tuple[str, ...]]:
        """For each unit of the site its own posture, then those of the plan, each once."""
        postures: dict[str, dict[str, None]] = {
            unit.unit: {unit.posture: None} for unit in self.basis.site.units
        }
        for _, _, stop in self.basis.stops():
            if stop.unit in postures:
                postures[stop.unit] |= {stand.posture: None for stand in stop.stands}
        return {unit: tuple(each) for unit, each in postures.items()}

    @cached_property
    def placed(self) -> Mapping[Stance, PlacedMachine]:
        """Each unit in each of its postures; one that it cannot take is missing."""
        found = {}
        for unit, postures in self.asked_for.items():
            for posture in postures:
                machine = self.placed_in(unit, posture)
                if machine is not None:
                    found[unit, posture] = machine
        return found

    def placed_in(self, name: str, posture: str) -> PlacedMachine | None:
        """A unit in a posture; None where its type has no such posture or cannot take it."""
        if (name, posture) not in self._found:
            self._found[name, posture] = self._place(name, posture)
        return self._found[name, posture]

    @cached_property
    def _found(self) -> dict[Stance, PlacedMachine | None]:
        return {}

    def _place(self, name: str, posture: str) -> PlacedMachine | None:
        unit = self.basis.units[name]
        pose = Pose(unit.x_m, unit.y_m, unit.heading_deg, unit.slew_deg)
        try:
            return place(self.basis.types[name], pose, posture=posture)
        except (PostureRefused, UnknownName):
            return None

    @cached_property
    def outlines(self) -> Mapping[Stance, BaseGeometry]:
        """Each from above: what all its solids cover."""
        return {stance: machine.outline for stance, machine in self.placed.items()}

    @cached_property
    def extents(self) -> Mapping[Stance, Extent]:
        """The lowest and the highest (x, y) of each."""
        return {stance: extent_of(machine) for stance, machine in self.placed.items()}

    @cached_property
    def closed(self) -> Mapping[Stance, tuple[Polygon, ...]]:
        """The ground that each closes in each posture, as polygons without holes."""
        return {stance: closed_by(machine) for stance, machine in self.placed.items()}

    def swept(self, unit: str, postures: tuple[str, ...]) -> BaseGeometry:
        """The ground that a unit stands over or sweeps in any of some postures, from above."""
        machines = [m for p in postures if (m := self.placed.get((unit, p))) is not None]
        shapes = [solid.footprint for machine in machines for solid in machine.solids]
        shapes += [m.slew_clear for m in machines if m.slew_clear is not None]
        return shapely.union_all(shapes)


def extent_of(machine: PlacedMachine) -> Extent:
    """Lowest and highest (x, y) of a machine."""
    points = np.vstack([solid.points_m[:, :2] for solid in machine.solids])
    return points.min(axis=0), points.max(axis=0)


def closed_by(machine: PlacedMachine) -> tuple[Polygon, ...]:
    """Ground under whatever is lower than headroom or hangs on oil, pockets in it filled."""
    low = [
        solid.footprint
        for solid in machine.solids
        if solid.on_oil or float(solid.points_m[:, 2].min()) < HEADROOM_M
    ]
    parts = shapely.get_parts(shapely.union_all(low))
    return tuple(Polygon(p.exterior) for p in parts if isinstance(p, Polygon) and p.area > 0)
