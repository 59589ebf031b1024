"""From the local plane of a site back to longitude and latitude."""

import numpy as np

from greaseroute.cards.gpx import LonLat
from greaseroute.site.geodesy import local_plane
from greaseroute.site.model import Site


def lonlat_of(site: Site) -> LonLat | None:
    """A function (x_m, y_m) -> (longitude, latitude) in degrees; None for local metres."""
    if site.origin_lonlat is None:
        return None
    plane = local_plane("lon/lat", site.origin_lonlat)

    def to_lonlat(x_m: float, y_m: float) -> tuple[float, float]:
        lon, lat = plane.to_source(np.array([[x_m, y_m]]))[0]
        return float(lon), float(lat)

    return to_lonlat
