"""Cautions where they apply: what each leg and each place of a walk asks for.

They follow the ground (features of the site plan, by what `site.clearance` takes them for), the
sun, the height of the feet above the ground, who moves a machine, and who is alone.
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import datetime
from functools import cached_property

from shapely.geometry import LineString, MultiPoint
from shapely.geometry.base import BaseGeometry

from greaseroute.plan.round import CheckIn, PlaceCaution, Stop, TechnicianPlan
from greaseroute.rounds.check_ins import words_of
from greaseroute.site.clearance import Hazard, hazard
from greaseroute.site.ground_plan import Area, Barrier
from greaseroute.site.lonlat import middle_lonlat
from greaseroute.site.model import Site
from greaseroute.site.sun import is_down, next_sunrise
from greaseroute.walk.hours import shut_zones

Span = tuple[datetime, datetime]

KEYS: dict[Hazard, str] = {
    "edge": "FACE", "toe": "TIP", "water": "WATER", "rail": "RAIL", "no_entry": "ZONE",
    "haul_road": "ROAD",
}  # fmt: skip
# Words in the kind of an edge below which there is water: what one minds there is the water.
QUAY = ("quay", "wharf", "jetty", "pier", "dock", "berth", "bank", "shore")
# From how far a thing is told of; common practice, no source: stones roll some way from a face.
NEAR_M = {"FACE": 10.0, "ZONE": 10.0, "TIP": 5.0, "WATER": 10.0, "RAIL": 5.0, "ROAD": 5.0}
MOST = 3  # of a kind the nearest ones are named
OVER_M = 0.05  # a line is gone over, not along
FALL_M = 0.5  # feet so far above the ground can fall; less is a step; common practice, no source
NO_PLACE = "the site file does not say where the site lies, so sunrise is not known"
ONE_STEP = "before you set off"


def with_cautions(
    technician: TechnicianPlan, site: Site, *, check_ins: Iterable[CheckIn] = ()
) -> TechnicianPlan:
    """The walk with the cautions of its legs and places written in."""
    surroundings = Surroundings(site)
    due = list(check_ins)
    stops, left = [], technician.start
    last = len(technician.stops) - 1
    for number, stop in enumerate(technician.stops):
        way = [*_outset(technician, surroundings)] if number == 0 else []
        way += surroundings.of_leg(stop.path, _span(left, stop.arrive))
        place = [*surroundings.of_stop(stop), *_told(c for c in due if c.stop == number)]
        if number == last or _can_spill(stop, place):
            place.append(PlaceCaution(key="SPILL"))
        told = {"way_cautions": _once(way), "place_cautions": _once(place)}
        stops.append(stop.model_copy(update=told))
        left = stop.leave
    home = [*surroundings.of_leg(_way_home(technician), _span(left, technician.finish)),
            *_told(c for c in due if c.stop is None)]  # fmt: skip
    changed = {"stops": tuple(stops), "home_cautions": _once(home), "check_ins": tuple(due)}
    return technician.model_copy(update=changed)


def _span(begin: str, end: str) -> Span:
    return datetime.fromisoformat(begin), datetime.fromisoformat(end)


def _once(cautions: Iterable[PlaceCaution]) -> tuple[PlaceCaution, ...]:
    return tuple({(c.key, c.where): c for c in cautions}.values())


def _outset(technician: TechnicianPlan, around: "Surroundings") -> Iterator[PlaceCaution]:
    """What is put on and looked after before the first leg."""
    yield PlaceCaution(key="VIS", where=ONE_STEP)
    if len(technician.cartridges) > 1:
        yield PlaceCaution(key="MIX", where=ONE_STEP)
    if around.lonlat is None:
        yield PlaceCaution(key="DARK", where=NO_PLACE)


def _told(check_ins: Iterable[CheckIn]) -> Iterator[PlaceCaution]:
    return (PlaceCaution(key="ALONE", where=words_of(c)) for c in check_ins)


def _can_spill(stop: Stop, place: Iterable[PlaceCaution]) -> bool:
    """Grease on steps and decks is slipped on, in water it is not fetched back."""
    return any(s.deck for s in stop.stands) or any(c.key == "WATER" for c in place)


def _way_home(technician: TechnicianPlan) -> tuple[tuple[float, float], ...]:
    """The last leg: what of the whole line comes after the last place of the last stop."""
    if not technician.stops:
        return technician.path
    last = technician.stops[-1]
    end = (last.inside or last.path or technician.path)[-1]
    found = [k for k, point in enumerate(technician.path) if point == end]
    return technician.path[found[-1] :] if found else ()


@dataclass(frozen=True)
class Surroundings:
    """The site as somebody on foot meets it."""

    site: Site

    @cached_property
    def lonlat(self) -> tuple[float, float] | None:
        """Longitude and latitude of the middle of the site, where they are known."""
        return middle_lonlat(self.site)

    @cached_property
    def _always(self) -> list[tuple[str, str, BaseGeometry]]:
        """(key, name, shape) of all features that are there at every hour."""
        ground = self.site.ground
        found: list[tuple[str, str, BaseGeometry]] = []
        things: tuple[Area | Barrier, ...] = (*ground.obstacles, *ground.barriers)
        for thing in (*things, *ground.slow_ground):
            key = "WATER" if _is_quay(thing.kind) else KEYS.get(hazard(thing.kind))
            shape = thing.polygon if isinstance(thing, Area) else thing.line_string
            if key:
                found.append((key, thing.name or thing.kind, shape))
        return found + [("ROAD", r.name or "haul road", r.polygon) for r in ground.haul_roads]

    def of_leg(self, line: tuple[tuple[float, float], ...], span: Span) -> list[PlaceCaution]:
        """Cautions of a leg that is walked in a span; none where nobody walks."""
        if len(line) < 2:
            return []
        return [*self._near(LineString(line), span, walked=True), *self._dark(span)]

    def of_stop(self, stop: Stop) -> list[PlaceCaution]:
        """Cautions of the places where one stands at a stop, and of what is done there."""
        if not stop.stands:
            return []
        span = _span(stop.arrive, stop.leave)
        feet = MultiPoint([(s.x_m, s.y_m) for s in stop.stands])
        decks: dict[str, list[str]] = {}
        for stand in stop.stands:
            if stand.height_m >= FALL_M:
                name = stand.deck or "place of the feet"
                decks.setdefault(f"{stand.height_m:.1f}", []).append(name)
        moved = any(s.event for s in stop.stands)
        return [
            *self._near(feet, span, walked=False),
            *self._dark(span),
            *(PlaceCaution(key="HEIGHT", where=_height(m, names)) for m, names in decks.items()),
            *((PlaceCaution(key="NOMOVE", where="while it is moved"),) if moved else ()),
        ]

    def _near(self, where: BaseGeometry, span: Span, *, walked: bool) -> Iterator[PlaceCaution]:
        """What lies near a line or points, kind by kind, the nearest first."""
        shut = shut_zones(self.site.ground.no_go, span)
        zones = [("ZONE", z.name or z.kind, z.polygon) for z in shut]
        met: dict[str, list[tuple[float, str]]] = {}
        for key, name, shape in (*self._always, *zones):
            away_m = shape.distance(where)
            if away_m <= NEAR_M[key]:
                met.setdefault(key, []).append((away_m, name))
        for key in NEAR_M:
            for away_m, name in sorted(met.get(key, []))[:MOST]:
                at = _away(name, away_m, walked=walked)
                if walked and away_m < OVER_M:
                    at = self._through(where, name) or at
                yield PlaceCaution(key=key, where=at)

    def _through(self, line: BaseGeometry, name: str) -> str:
        """By which gate or crossing a leg goes through or over a thing; "" where by none."""
        ground = self.site.ground
        things: list[BaseGeometry] = [b.line_string for b in ground.barriers if b.name == name]
        things += [r.polygon for r in ground.haul_roads if r.name == name]
        ways: list[tuple[str, BaseGeometry]] = [(g.name, g.opening) for g in ground.gates]
        ways += [(c.name, c.polygon) for c in ground.crossings]
        used = (
            named
            for named, way in ways
            if named
            and way.distance(line) < OVER_M
            and any(way.distance(thing) < OVER_M for thing in things)
        )
        return next((f"{name}, through {named}" for named in used), "")

    def _dark(self, span: Span) -> Iterator[PlaceCaution]:
        """A caution where the sun is down at the begin or the end of a span."""
        if self.lonlat is None or not any(is_down(each, self.lonlat) for each in span):
            return
        rises = next_sunrise(span[0], self.lonlat)
        if rises is None:
            yield PlaceCaution(key="DARK", where="the sun does not rise today")
        else:
            yield PlaceCaution(key="DARK", where=f"the sun rises at {rises:%H:%M}")


def _is_quay(kind: str) -> bool:
    """Whether a feature is the edge of a quay or a bank."""
    words = kind.lower().replace("-", " ").split()
    return hazard(kind) in ("edge", "water") and any(word in QUAY for word in words)


def _away(name: str, away_m: float, *, walked: bool) -> str:
    if away_m < OVER_M:
        return f"the way goes over {name}" if walked else f"you stand on {name}"
    return f"{name}, {away_m:.1f} m from {'the way' if walked else 'where you stand'}"


def _height(height_m: str, decks: Iterable[str]) -> str:
    return f"{', '.join(dict.fromkeys(decks))}, {height_m} m above the ground"
