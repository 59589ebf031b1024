"""From the local plane of a site back to longitude and latitude."""

from collections.abc import Callable

import numpy as np

from greaseroute.site.anchor_fit import fit_anchor
from greaseroute.site.geodesy import local_plane
from greaseroute.site.model import Site

LonLat = Callable[[float, float], tuple[float, float]]


def lonlat_of(site: Site) -> LonLat | None:
    """A function (x_m, y_m) -> (longitude, latitude) in degrees.

    None for a site in local metres that says nothing of where it lies.
    """
    if site.origin_lonlat is not None:
        to_source = local_plane("lon/lat", site.origin_lonlat).to_source
    elif site.anchor is not None:
        to_source = fit_anchor(site.anchor).to_lonlat
    else:
        return None

    def to_lonlat(x_m: float, y_m: float) -> tuple[float, float]:
        lon, lat = to_source(np.array([[x_m, y_m]]))[0]
        return float(lon), float(lat)

    return to_lonlat


def middle_lonlat(site: Site) -> tuple[float, float] | None:
    """Longitude and latitude of the middle of the site, where anybody said where it lies."""
    to_lonlat = lonlat_of(site)
    middle = site.ground.boundary.centroid
    return to_lonlat and to_lonlat(middle.x, middle.y)
