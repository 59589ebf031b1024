"""Where a machine was said to stand, in the local plane of the site."""

from typing import Any

from greaseroute.ledger.events import Moved
from greaseroute.site.geodesy import plane_of
from greaseroute.site.model import Site


def place_in_plane(event: Moved, site: Site) -> dict[str, Any]:
    """The fields of a unit that a move changes, its place in the site's local plane.

    Rows taken over from ``fleet.csv`` are in that plane already.
    """
    told: dict[str, Any] = {
        name: value
        for name in ("heading_deg", "posture", "slew_deg")
        if (value := getattr(event, name)) is not None
    }
    east, north = (event.x_m, event.y_m) if event.lon is None else (event.lon, event.lat)
    if east is None or north is None:
        return told
    if not event.source.startswith("fleet.csv"):
        east, north = plane_of(site).point(east, north)
    return {**told, "x_m": east, "y_m": north}
