"""The walk as GeoJSON (RFC 7946 where the site lies in lon/lat)."""

import json
from collections.abc import Iterable, Iterator
from typing import Any

from greaseroute.plan.round import RoundPlan, StandVisit, TechnicianPlan
from greaseroute.plan.tally import NumberedStop, numbered, stop_fittings
from greaseroute.site.lonlat import LonLat

LOCAL_METRES = "local metres"
# A reader that knows no "coordinates" member takes positions for WGS 84, unless a reference
# system says otherwise: this one, of ISO 19162, lies nowhere on the earth.
SITE_GRID = (
    'ENGCRS["site grid in local metres",EDATUM["the site"],CS[Cartesian,2],'
    'AXIS["x",east],AXIS["y",north],LENGTHUNIT["metre",1]]'
)


def walk_geojson(plan: RoundPlan, *, to_lonlat: LonLat | None = None) -> str:
    """Walking lines (role ``walk``), stops (``stop``) and stands (``stand``), one feature a line.

    Without ``to_lonlat`` positions stay in local metres and the collection says so in its member
    ``coordinates`` and by a reference system of its own: the same structure, but not RFC 7946,
    which knows WGS 84 only.
    """
    place = _Place(to_lonlat)
    features = [feature for walk in numbered(plan) for feature in _features(walk, place)]
    lines = ",\n".join(json.dumps(feature, ensure_ascii=False) for feature in features)
    note = "" if to_lonlat else _local_note()
    return f'{{"type": "FeatureCollection",{note} "features": [\n{lines}\n]}}\n'


def _local_note() -> str:
    crs = {"type": "name", "properties": {"name": SITE_GRID}}
    return f' "coordinates": "{LOCAL_METRES}", "crs": {json.dumps(crs)},'


class _Place:
    """Positions as they are written: degrees to seven decimals or metres to three."""

    def __init__(self, to_lonlat: LonLat | None) -> None:
        self._to_lonlat = to_lonlat

    def __call__(self, x_m: float, y_m: float) -> list[float]:
        if self._to_lonlat is None:
            return [round(x_m, 3), round(y_m, 3)]
        lon, lat = self._to_lonlat(x_m, y_m)
        return [round(lon, 7), round(lat, 7)]


def _features(
    walk: tuple[TechnicianPlan, Iterable[NumberedStop]], place: _Place
) -> Iterator[dict[str, Any]]:
    technician, stops = walk
    line = [place(x, y) for x, y in technician.path]
    if len(line) == 1:  # nobody moved; RFC 7946 wants two positions in a line
        line *= 2
    if line:
        spans = {"walk_m": round(technician.walk_m, 1), "walk_s": round(technician.walk_s, 1)}
        yield _feature("LineString", line, role="walk", technician=technician.name, **spans)
    for numbered_stop in stops:
        yield from _stop_features(technician.name, numbered_stop, place)


def _stop_features(
    name: str, numbered_stop: NumberedStop, place: _Place
) -> Iterator[dict[str, Any]]:
    stop = numbered_stop.stop
    about = {"technician": name, "stop": numbered_stop.label, "unit": stop.unit}
    for number, stand in enumerate(stop.stands, 1):
        if number == 1:
            times = {"arrive": stop.arrive, "leave": stop.leave}
            work = {"fittings": len(stop_fittings(stop)), "reload": stop.reload}
            yield _feature(
                "Point", place(stand.x_m, stand.y_m), role="stop", **about, **times, **work
            )
        yield _stand_feature(stand, place, {**about, "stand": number})


def _stand_feature(stand: StandVisit, place: _Place, about: dict[str, Any]) -> dict[str, Any]:
    fittings = [f"{task.joint} {task.fitting}" for task in stand.fittings]
    return _feature(
        "Point",
        place(stand.x_m, stand.y_m),
        role="stand",
        **about,
        height_m=round(stand.height_m, 2),
        fittings=fittings,
    )


def _feature(kind: str, coordinates: list[Any], **properties: object) -> dict[str, Any]:
    geometry = {"type": kind, "coordinates": coordinates}
    return {"type": "Feature", "properties": properties, "geometry": geometry}
