"""The walk as GPX 1.1, for a handheld receiver; only where the site lies in lon/lat."""

import re
from collections.abc import Iterable
from xml.etree import ElementTree as ET

from greaseroute.plan.round import RoundPlan, TechnicianPlan
from greaseroute.plan.tally import NumberedStop, numbered, stop_fittings
from greaseroute.plan.words import clock, count
from greaseroute.site.lonlat import LonLat

NAMESPACE = "http://www.topografix.com/GPX/1/1"
_CONTROL = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\ufffe\uffff]")  # characters XML 1.0 forbids


def walk_gpx(plan: RoundPlan, *, to_lonlat: LonLat) -> str:
    """A waypoint for each stop and a track for each technician.

    ``to_lonlat`` turns (x_m, y_m) into (longitude, latitude) in degrees. Positions carry seven
    decimals (about a centimetre).
    """
    root = ET.Element("gpx", {"xmlns": NAMESPACE, "version": "1.1", "creator": "greaseroute"})
    _text(ET.SubElement(root, "metadata"), "name", f"Round for {plan.site}, {plan.at}")
    walks = numbered(plan)
    for _, stops in walks:
        _waypoints(root, stops, to_lonlat)
    for technician, _ in walks:
        _track(root, technician, to_lonlat)
    ET.indent(root)
    return '<?xml version="1.0" encoding="UTF-8"?>\n' + ET.tostring(root, encoding="unicode") + "\n"


def _waypoints(root: ET.Element, stops: Iterable[NumberedStop], to_lonlat: LonLat) -> None:
    for numbered_stop in stops:
        stop = numbered_stop.stop
        if not stop.stands:
            continue
        stand = stop.stands[0]
        point = _point(root, "wpt", to_lonlat(stand.x_m, stand.y_m))
        _text(point, "name", f"{numbered_stop.label} {stop.unit}".strip())
        fittings = count(len(stop_fittings(stop)), "fitting")
        _text(point, "desc", f"{clock(stop.arrive)} to {clock(stop.leave)}, {fittings}")


def _track(root: ET.Element, technician: TechnicianPlan, to_lonlat: LonLat) -> None:
    track = ET.SubElement(root, "trk")
    _text(track, "name", f"Walk of {technician.name}")
    segment = ET.SubElement(track, "trkseg")
    for x_m, y_m in technician.path:
        _point(segment, "trkpt", to_lonlat(x_m, y_m))


def _point(parent: ET.Element, tag: str, lonlat: tuple[float, float]) -> ET.Element:
    lon, lat = lonlat
    return ET.SubElement(parent, tag, {"lat": f"{lat:.7f}", "lon": f"{lon:.7f}"})


def _text(parent: ET.Element, tag: str, text: str) -> None:
    ET.SubElement(parent, tag).text = _CONTROL.sub("?", text)
