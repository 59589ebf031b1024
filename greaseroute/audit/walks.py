"""Promises about the way itself: one joined line, on free ground, kept off everything closed."""

import math
from collections.abc import Iterator, Sequence
from itertools import pairwise

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry import LineString
from shapely.geometry.base import BaseGeometry

from greaseroute.audit.case import Case
from greaseroute.audit.finding import Finding, Where
from greaseroute.audit.house_rules import PLACE_M, TIGHT_M
from greaseroute.audit.tracks import Ints, Point2, Track
from greaseroute.plan.round import Stop, TechnicianPlan

# Somebody who stands just now closer to a machine than the clearance steps aside first.
HERE, STEP_ASIDE_M = "here", 3.0
Shapes = NDArray[np.object_]


def walk_is_joined(case: Case) -> Iterator[Finding]:
    """Each leg begins where the one before ended; the whole path is their sum."""
    for t, technician in enumerate(case.basis.plan.technicians):
        if not technician.path:
            yield Where(technician.name).finding("walk", "has no path")
            continue
        yield from _ends(case, technician)
        yield from _joints(technician)
        yield from _whole(technician, home=case.home(t))


def _ends(case: Case, technician: TechnicianPlan) -> Iterator[Finding]:
    """The walk begins and ends at the places of its technician."""
    walker = case.basis.crew.get(technician.name)
    if walker is None:
        return
    # Who visits nothing and cannot get to the finish stays at the start.
    stays = not technician.stops and len(set(technician.path)) == 1
    goal = walker.start if stays else walker.finish
    where = Where(technician.name, place_m=technician.path[0])
    yield from _at_place(case, where, ("begins", walker.start, technician.start_place))
    where = Where(technician.name, place_m=technician.path[-1])
    yield from _at_place(case, where, ("ends", goal, technician.finish_place))


def _at_place(case: Case, where: Where, said: tuple[str, str, str]) -> Iterator[Finding]:
    """What begins or ends here, at which place by the site, at which place as told."""
    what, name, told = said
    place = case.basis.places.get(name)
    if told and told != name:
        yield where.finding("walk", f"the walk {what} at {told!r}, the site says {name!r}")
    if place is None or where.place_m is None:
        return
    away_m = math.dist(where.place_m, (place.point.x, place.point.y))
    if away_m > (STEP_ASIDE_M if place.kind == HERE else PLACE_M):
        yield where.finding("walk", f"the walk {what} away from {name!r}", off=away_m, measure="m")


def _joints(technician: TechnicianPlan) -> Iterator[Finding]:
    here = technician.path[0]
    for stop in technician.stops:
        lines = [("the leg to it", stop.path)]
        lines += [] if stop.reload else [("the walk at it", stop.inside)]
        for what, line in lines:
            if not line:
                yield Where(technician.name, stop.unit).finding("walk", f"{what} has no line")
                continue
            gap_m = math.dist(here, line[0])
            if gap_m > PLACE_M:
                where = Where(technician.name, stop.unit, place_m=line[0])
                text = f"{what} begins elsewhere than one stands"
                yield where.finding("walk", text, off=gap_m, measure="m")
            here = line[-1]


def _whole(technician: TechnicianPlan, *, home: tuple[Point2, ...]) -> Iterator[Finding]:
    """The whole path is the legs one after the other, and ends with the way home."""
    walked: list[Point2] = []
    for stop in technician.stops:
        for line in (stop.path, stop.inside):
            walked += [p for k, p in enumerate(line) if k or not walked or p != walked[-1]]
    first = technician.path[: len(walked)]
    off_m = max((math.dist(a, b) for a, b in zip(walked, first, strict=False)), default=0.0)
    if len(first) < len(walked) or off_m > PLACE_M or not home:
        what = "the whole path is not its legs one after the other"
        yield Where(technician.name).finding("walk", what, off=off_m, measure="m")


def walk_keeps_off(case: Case) -> Iterator[Finding]:
    """Nobody walks out of the boundary, through anything closed, or nearer than the clearance."""
    owner, lines = _lines(case.walked.tracks)
    if not len(lines):
        return
    yield from _outside(case, owner, lines)
    worst: dict[tuple[int, int], tuple[float, int]] = {}
    for segment, shut, off_m in _near_pairs(case, lines):
        key = int(owner[segment]), shut
        if off_m > worst.get(key, (0.0, 0))[0]:
            worst[key] = off_m, segment
    for (track, shut), (off_m, segment) in worst.items():
        at = _start(shapely.shortest_line(lines[segment], case.ground.always[shut].shape))
        where = _where(case, case.walked.tracks[track], at)
        yield _closed_finding(case, case.walked.tracks[track], shut, off_m=off_m, where=where)


def _lines(tracks: Sequence[Track]) -> tuple[Ints, Shapes]:
    """Track number and line of every segment; a track of one place is that place."""
    owner: list[int] = []
    found: list[BaseGeometry] = []
    for number, track in enumerate(tracks):
        pairs = list(pairwise(track.line)) or [(p, p) for p in track.line]
        owner += [number] * len(pairs)
        found += [LineString(p) if p[0] != p[1] else shapely.Point(p[0]) for p in pairs]
    lines = np.empty(len(found), dtype=object)
    lines[:] = found
    return np.asarray(owner, dtype=np.int64), lines


def _outside(case: Case, owner: Ints, lines: Shapes) -> Iterator[Finding]:
    boundary = case.basis.site.ground.boundary.buffer(PLACE_M)
    shapely.prepare(boundary)
    for segment in np.flatnonzero(~shapely.covers(boundary, lines)):
        outside = lines[segment].difference(boundary)
        track = case.walked.tracks[int(owner[segment])]
        where = _where(case, track, _start(outside))
        what = f"walks out of the boundary {_to(case, track)}"
        yield where.finding("ground", what, off=float(outside.length), measure="m")


def _near_pairs(case: Case, lines: Shapes) -> Iterator[tuple[int, int, float]]:
    """(segment, closed shape, metres too near) of every pair that is nearer than allowed."""
    clearance_m = case.ground.clearance_m
    shapes = np.empty(len(case.ground.always), dtype=object)
    shapes[:] = [shut.shape for shut in case.ground.always]
    near_m = max(0.0, clearance_m - PLACE_M)
    pairs = shapely.STRtree(shapes).query(lines, predicate="dwithin", distance=near_m)
    for segment, shape in pairs.T.tolist():
        if clearance_m > PLACE_M:
            off_m = clearance_m - float(shapely.distance(lines[segment], shapes[shape]))
        else:
            off_m = _through_m(lines[segment], shapes[shape])
        if off_m > 0:
            yield segment, shape, off_m


def _through_m(line: BaseGeometry, shape: BaseGeometry) -> float:
    """Metres of a line inside a shape; along its edge one may walk, across a fence not."""
    if shape.area == 0:
        return PLACE_M if line.crosses(shape) else 0.0
    return float(line.intersection(shape.buffer(-PLACE_M)).length)


def _closed_finding(case: Case, track: Track, shut: int, *, off_m: float, where: Where) -> Finding:
    through = off_m >= case.ground.clearance_m - TIGHT_M
    how = "walks through" if through else "comes nearer than the clearance to"
    what = f"{how} {case.ground.always[shut].name} {_to(case, track)}"
    return where.finding("ground" if through else "clearance", what, off=off_m, measure="m")


def _where(case: Case, track: Track, place_m: Point2 | None) -> Where:
    technician = case.basis.plan.technicians[track.technician]
    stop = _stop(case, track)
    return Where(technician.name, "" if stop is None else stop.unit, place_m=place_m)


def _stop(case: Case, track: Track) -> Stop | None:
    stops = case.basis.plan.technicians[track.technician].stops
    return stops[track.stop] if track.stop < len(stops) else None


def _to(case: Case, track: Track) -> str:
    if _stop(case, track) is None:
        return "on the way home"
    return "on the way to it" if track.stand < 0 else f"on the way to its stand {track.stand + 1}"


def _start(shape: BaseGeometry) -> Point2 | None:
    at = shapely.get_coordinates(shape)
    return (float(at[0, 0]), float(at[0, 1])) if len(at) else None
