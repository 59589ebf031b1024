"""The ground a standing machine closes."""

import shapely
from shapely.geometry import Polygon

from greaseroute.catalogue.kinematics.placed import PlacedMachine, PlacedSolid

HEADROOM_M = 2.5  # house rule: nobody walks or stands below anything lower than this


def is_below_closed(solid: PlacedSolid) -> bool:
    """Whether the ground under a solid is closed: it stands on it, is low, or hangs on oil."""
    return solid.on_oil or solid.bottom_m < HEADROOM_M


def closed_ground(placed: PlacedMachine) -> list[Polygon]:
    """Ground nobody walks on at a machine, as polygons without holes, in metres.

    Under every solid that touches the ground, or is lower than ``HEADROOM_M``, or hangs on oil
    only, whatever its height. Pockets that such solids enclose are closed as well: nobody gets
    there on foot.
    """
    under = shapely.union_all([s.footprint for s in placed.solids if is_below_closed(s)])
    parts = [Polygon(p.exterior) for p in shapely.get_parts(under) if isinstance(p, Polygon)]
    return sorted((p for p in parts if p.area > 0), key=lambda p: p.bounds)
