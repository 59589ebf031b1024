"""From longitude and latitude, or a national grid, to the local metric plane of a site."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from greaseroute.errors import UnknownName
from greaseroute.site.model import Site

if TYPE_CHECKING:
    from pyproj import CRS, Transformer

Points = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class LocalPlane:
    """The plane all lengths are measured in: x east, y north, metres.

    ``to_plane`` and ``to_source`` take and give (n, 2) arrays; source coordinates are those of
    the site's files. ``origin_lonlat`` is the anchor, None for local metres.
    """

    system: str
    to_plane: Callable[[Points], Points]
    to_source: Callable[[Points], Points]
    origin_lonlat: tuple[float, float] | None = None

    def point(self, x: float, y: float) -> tuple[float, float]:
        """One position of the files, in the plane."""
        east, north = self.to_plane(np.array([[x, y]], dtype=float))[0]
        return float(east), float(north)


def local_plane(system: str, anchor: tuple[float, float]) -> LocalPlane:
    """The plane for ``system`` (``local metres``, ``lon/lat`` or ``EPSG:n``).

    ``anchor`` is a position in the files' coordinates, such as the centroid of the boundary.
    Lon/lat and grids go through the azimuthal equidistant projection on the WGS 84 ellipsoid
    centred there: true in length from the anchor, and to r^2 / (6 R^2) elsewhere, which is 1e-7
    at r = 5 km. Raises UnknownName for an EPSG number that nobody knows.
    """
    if system == "local metres":
        return LocalPlane(system, _same, _same)
    from pyproj import CRS, Transformer  # heavy, and local metres do without

    source = CRS.from_epsg(4326) if system == "lon/lat" else _grid(system)
    to_lonlat = Transformer.from_crs(source, CRS.from_epsg(4326), always_xy=True)
    lon, lat = (round(float(v), 7) for v in to_lonlat.transform(*anchor))
    plane = CRS.from_proj4(f"+proj=aeqd +lon_0={lon!r} +lat_0={lat!r} +datum=WGS84 +units=m")
    there = Transformer.from_crs(source, plane, always_xy=True)
    return LocalPlane(
        system,
        lambda points: _through(there, points, "FORWARD"),
        lambda points: _through(there, points, "INVERSE"),
        (lon, lat),
    )


def plane_of(site: Site) -> LocalPlane:
    """The plane that the site's positions were brought into when its folder was read."""
    if site.origin_lonlat is None:
        return local_plane("local metres", (0.0, 0.0))
    if site.coordinates == "lon/lat":
        return local_plane("lon/lat", site.origin_lonlat)
    from pyproj import Transformer  # heavy, and only grids need it

    grid = Transformer.from_crs("EPSG:4326", site.coordinates, always_xy=True)
    east, north = grid.transform(*site.origin_lonlat)
    return local_plane(site.coordinates, (float(east), float(north)))


def _grid(system: str) -> "CRS":
    """The reference system of an EPSG number; raises UnknownName."""
    from pyproj import CRS
    from pyproj.exceptions import CRSError

    try:
        return CRS.from_user_input(system)
    except CRSError as error:
        raise UnknownName(
            "coordinates", system, limit="a known EPSG number", next_step="correct it"
        ) from error


def _same(points: Points) -> Points:
    return points


def _through(transformer: "Transformer", points: Points, direction: str) -> Points:
    """An (n, 2) array through a pyproj transformer."""
    east, north = transformer.transform(points[:, 0], points[:, 1], direction=direction)
    return np.column_stack([east, north])
