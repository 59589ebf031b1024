"""The machines of a site as they stand, for drawing."""

from shapely.geometry.base import BaseGeometry

from greaseroute.catalogue.kinematics.placed import PlacedMachine, Pose, place
from greaseroute.site.fleet import Unit
from greaseroute.site.model import Site


def placed_unit(site: Site, unit: Unit, *, posture: str | None = None) -> PlacedMachine:
    """A unit where it stands, in its own posture or another.

    Raises PostureRefused or UnknownName where type and posture do not go together.
    """
    machine_type = site.machine(unit)
    pose = Pose(unit.x_m, unit.y_m, unit.heading_deg, unit.slew_deg)
    return place(machine_type, pose, posture=posture or unit.posture)


def outlines(site: Site) -> dict[str, BaseGeometry]:
    """The outline from above of every unit, by fleet number."""
    return {unit.unit: placed_unit(site, unit).outline for unit in site.units}
