"""How a phone's position and a stop's address are told on the earth."""

from typing import Any

import numpy as np

from greaseroute.plan.round import Stop
from greaseroute.site.lonlat import lonlat_of
from greaseroute.site.model import Site

SIDE_M = 100.0  # over which the slope of the transformation is taken


def plane_of_phone(site: Site) -> dict[str, Any] | None:
    """How the card brings a phone's position onto the site; None where nobody knows.

    ``x`` and ``y`` are (at the middle, per degree of longitude, per degree of latitude) from
    ``lon`` and ``lat``: linear, which over 2 km is off by less than a tenth of a metre.
    """
    to_lonlat = lonlat_of(site)
    if to_lonlat is None:
        return None
    middle = site.ground.boundary.centroid
    lon, lat = to_lonlat(middle.x, middle.y)
    sides = [np.subtract(to_lonlat(middle.x + dx, middle.y + dy), (lon, lat))
             for dx, dy in ((SIDE_M, 0.0), (0.0, SIDE_M))]  # fmt: skip
    inverse = SIDE_M * np.linalg.inv(np.column_stack(sides))
    return {
        "lon": lon,
        "lat": lat,
        "x": [middle.x, float(inverse[0, 0]), float(inverse[0, 1])],
        "y": [middle.y, float(inverse[1, 0]), float(inverse[1, 1])],
    }


def geo_link(site: Site, stop: Stop) -> str:
    """The ``geo:`` address (RFC 5870) of a stop's first stand; "" where nobody knows it."""
    to_lonlat = lonlat_of(site)
    if to_lonlat is None or not stop.stands:
        return ""
    lon, lat = to_lonlat(stop.stands[0].x_m, stop.stands[0].y_m)
    return f"geo:{lat:.6f},{lon:.6f}"
