"""The file that says how far a round has come: JSON in the coordinates of the site's own files."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Annotated, Any, Self, TypeVar
from zoneinfo import ZoneInfo

from pydantic import BaseModel, Field, ValidationError, model_validator
from shapely.geometry import Point

from greaseroute.catalogue.joint import Joint
from greaseroute.catalogue.machine_type import MachineType
from greaseroute.errors import Fault
from greaseroute.plan.round import RoundPlan
from greaseroute.replan.so_far import DoneSoFar, Moved, MovedUnit, SoFar, site_now
from greaseroute.site.checks.fleet import (
    across_barriers,
    on_closed_ground,
    outside_boundary,
    overlapping,
    place_units,
)
from greaseroute.site.files.draft import Draft
from greaseroute.site.files.settings import Settings
from greaseroute.site.geodesy import LocalPlane, plane_of
from greaseroute.site.model import Site
from greaseroute.site.morning import Morning
from greaseroute.texts.json_text import locate, parsed
from greaseroute.texts.toml_text import TomlText
from greaseroute.texts.validation import Path, Source, faults_of, line_in, shown, unknown_name
from greaseroute.walk.yard import STEP_ASIDE_M

# The ranges are told by `_range_faults`: both numbers at once, with a word where they look swapped.
Lon = Annotated[float, Field(json_schema_extra={"minimum": -180, "maximum": 180})]
Lat = Annotated[float, Field(json_schema_extra={"minimum": -90, "maximum": 90})]
Read = TypeVar("Read", bound=BaseModel)
Named = tuple[Path, str]
PAIR = ("unit", "joint", "fitting")  # what an entry of ``done`` or ``done_fittings`` holds


class MovedUnitLonLat(Moved):
    """A unit that stands otherwise than ``fleet.csv`` says, on a site in longitude and latitude."""

    lon: Lon | None = None
    lat: Lat | None = None

    @model_validator(mode="after")
    def _both(self) -> Self:
        if (self.lon is None) != (self.lat is None):
            raise ValueError("lon and lat, or neither where it only turned or moved its implements")
        return self


class DoneSoFarLonLat(SoFar):
    """How far a round has come, on a site in longitude and latitude: places are (lon, lat)."""

    places: dict[str, tuple[Lon, Lat]] = Field(
        default_factory=dict,
        description="where technicians stand now, [lon, lat] by name; not named: at the start",
    )
    moved: tuple[MovedUnitLonLat, ...] = Field(
        default=(), description="units that stand otherwise now"
    )


@dataclass(frozen=True, slots=True)
class _JsonText:
    """A JSON text that could be read: what it tells of, its data, the line of every value."""

    file: str
    what: str
    data: Mapping[str, Any]
    index: Mapping[Path, tuple[int, int]]

    def line_of(self, path: Path) -> int:
        """The line on which a value begins."""
        return line_in(self.index, path)

    def record_of(self, path: Path) -> str:
        """What a value belongs to: ``moved 2``, ``places 'Oda'``, or the whole."""
        if len(path) < 2:
            return self.what
        part, which = path[:2]
        return f"{part} {which + 1}" if isinstance(which, int) else f"{part} {which!r}"

    def fault(self, path: Path, texts: tuple[str, str, str]) -> Fault:
        """A fault at a value; ``texts`` are value, allowed and what to do."""
        names = [PAIR[p] if isinstance(p, int) else p for p in path[2:]]
        field = ".".join(names) or "-"
        return Fault(self.file, self.line_of(path), self.record_of(path), field, *texts)


def read_done_so_far(
    text: str, file: str, site: Site, *, morning: Morning
) -> tuple[DoneSoFar | None, list[Fault]]:
    """What was done so far, in the site's local plane; or None and every mistake in the text.

    ``morning`` is the span of the round that is under way.
    """
    told: DoneSoFar | DoneSoFarLonLat | None
    if site.coordinates == "lon/lat":
        source, told, faults = _read(text, file, DoneSoFarLonLat)
    else:
        source, told, faults = _read(text, file, DoneSoFar)
    if source is None or told is None:
        return None, faults
    faults = list(_range_faults(source, told))
    if faults:
        return None, faults
    so_far = _in_plane(told, site)
    faults = [
        *_moment_faults(source, so_far, morning),
        *_name_faults(source, so_far, site),
        *_place_faults(source, so_far, site),
    ]
    if not faults:
        faults = list(_moved_faults(source, so_far, site))
    return (None if faults else so_far), faults


def read_earlier(text: str, file: str, site: Site) -> tuple[RoundPlan | None, list[Fault]]:
    """The plan under way from its ``round.json``; or None and every mistake in the text."""
    source, plan, faults = _read(text, file, RoundPlan)
    if source is None or plan is None:
        return None, faults
    if plan.site != site.name:
        texts = (plan.site, f"a plan for {site.name!r}", "name the round.json of this site")
        return None, [replace(source.fault(("site",), texts), field="site")]
    return plan, []


def _read(
    text: str, file: str, model: type[Read]
) -> tuple[_JsonText | None, Read | None, list[Fault]]:
    """A JSON text as a record of one model, or its mistakes."""
    data, broken = parsed(text, file)
    if broken:
        return None, None, broken
    if not isinstance(data, dict):
        texts = (shown(data), "an object in braces", "see the guide")
        return None, None, [Fault(file, 1, "JSON", "-", *texts)]
    what = "plan" if model is RoundPlan else "round so far"
    source = _JsonText(file, what, data, locate(text))
    try:
        return source, model.model_validate(data), []
    except ValidationError as error:
        told = Source(file, source.line_of, source.record_of)
        return source, None, list(faults_of(error, model, told))


def _range_faults(source: _JsonText, told: DoneSoFar | DoneSoFarLonLat) -> Iterator[Fault]:
    """Longitude and latitude outside their ranges, with a word where they look swapped."""
    if isinstance(told, DoneSoFar):
        return
    spots: list[tuple[Path, tuple[float, float]]] = [
        *((("places", name), spot) for name, spot in told.places.items()),
        *(
            (("moved", k), (m.lon, m.lat))
            for k, m in enumerate(told.moved)
            if m.lon is not None and m.lat is not None
        ),
    ]
    for path, (lon, lat) in spots:
        if abs(lon) > 180 or abs(lat) > 90:
            swapped = abs(lon) <= 90 and abs(lat) <= 180
            do = "they look swapped: exchange them" if swapped else "correct it"
            allowed = "longitude -180 to 180, latitude -90 to 90"
            yield replace(source.fault(path, (f"{lon:g}, {lat:g}", allowed, do)), field="lon, lat")


def _in_plane(told: DoneSoFar | DoneSoFarLonLat, site: Site) -> DoneSoFar:
    """The same in the local plane; a moment without an offset is on the site's clock."""
    at = told.at if told.at.tzinfo else told.at.replace(tzinfo=ZoneInfo(site.time_zone))
    values = {**told.model_dump(), "at": at}
    if told.moved or told.places:
        plane = plane_of(site)
        values["places"] = {name: plane.point(*spot) for name, spot in told.places.items()}
        values["moved"] = [_moved_in_plane(m, plane) for m in told.moved]
    return DoneSoFar.model_validate(values)


def _moved_in_plane(told: MovedUnit | MovedUnitLonLat, plane: LocalPlane) -> MovedUnit:
    x, y = (told.x_m, told.y_m) if isinstance(told, MovedUnit) else (told.lon, told.lat)
    rest = told.model_dump(exclude={"x_m", "y_m", "lon", "lat"})
    if x is None or y is None:
        return MovedUnit(**rest)
    x_m, y_m = plane.point(x, y)
    return MovedUnit(x_m=x_m, y_m=y_m, **rest)


def _moment_faults(source: _JsonText, so_far: DoneSoFar, morning: Morning) -> Iterator[Fault]:
    if not morning.zero <= so_far.at < morning.end:
        allowed = f"from {morning.zero:%Y-%m-%d %H:%M} to before {morning.end:%Y-%m-%d %H:%M}"
        texts = (shown(source.data["at"]), allowed, "correct it, or tell the round with --at")
        yield replace(source.fault(("at",), texts), field="at")


def _name_faults(source: _JsonText, so_far: DoneSoFar, site: Site) -> Iterator[Fault]:
    """Names of units, joints, fittings, technicians and guns that the site does not have."""
    kinds = {u.unit: site.machine(u) for u in site.units}
    named: list[Named] = [
        *((("done", k, 0), unit) for k, (unit, _) in enumerate(so_far.done)),
        *((("done_fittings", k, 0), unit) for k, (unit, _, _) in enumerate(so_far.done_fittings)),
        *((("done_units", k), unit) for k, unit in enumerate(so_far.done_units)),
        *((("gone", k), unit) for k, unit in enumerate(so_far.gone)),
        *((("moved", k, "unit"), m.unit) for k, m in enumerate(so_far.moved)),
        *((("blocked", k, "unit"), b.unit) for k, b in enumerate(so_far.blocked)),
    ]
    yield from _unknown(source, named, list(kinds))
    crew, guns = [t.name for t in site.technicians], [g.name for g in site.guns]
    yield from _unknown(source, [(("places", name), name) for name in so_far.places], crew)
    strokes: list[Named] = [(("left_strokes", name), name) for name in so_far.left_strokes]
    yield from _unknown(source, strokes, guns)
    for k, (unit, joint) in enumerate(so_far.done):
        joints = [j.name for j in kinds[unit].joints] if unit in kinds else [joint]
        yield from _unknown(source, [(("done", k, 1), joint)], joints)
    for k, (unit, joint, fitting) in enumerate(so_far.done_fittings):
        fittings = {j.name: [f.name for f in j.fittings] for j in _joints(kinds, unit)}
        if unit in kinds:
            yield from _unknown(source, [(("done_fittings", k, 1), joint)], list(fittings))
        if joint in fittings:
            yield from _unknown(source, [(("done_fittings", k, 2), fitting)], fittings[joint])
    yield from _part_faults(source, so_far, kinds)


def _joints(kinds: Mapping[str, MachineType], unit: str) -> tuple[Joint, ...]:
    return kinds[unit].joints if unit in kinds else ()


def _unknown(source: _JsonText, entries: Iterable[Named], known: Sequence[str]) -> Iterator[Fault]:
    for path, name in entries:
        if name not in known:
            yield source.fault(path, (name, *unknown_name(name, known, define="correct it")))


def _part_faults(
    source: _JsonText, so_far: DoneSoFar, kinds: Mapping[str, MachineType]
) -> Iterator[Fault]:
    """Joints and fittings that a blocked unit, postures that a moved unit does not have."""
    for k, blocked in enumerate(so_far.blocked):
        if blocked.unit not in kinds:
            continue
        joints = {j.name: j for j in kinds[blocked.unit].joints}
        yield from _unknown(source, [(("blocked", k, "joint"), blocked.joint)], list(joints))
        if blocked.fitting is not None and blocked.joint in joints:
            names = [f.name for f in joints[blocked.joint].fittings]
            yield from _unknown(source, [(("blocked", k, "fitting"), blocked.fitting)], names)
    for k, moved in enumerate(so_far.moved):
        if moved.posture is not None and moved.unit in kinds:
            names = [p.name for p in kinds[moved.unit].postures]
            yield from _unknown(source, [(("moved", k, "posture"), moved.posture)], names)


def _place_faults(source: _JsonText, so_far: DoneSoFar, site: Site) -> Iterator[Fault]:
    """Technicians off the site, strokes below zero, units named twice."""
    rim = site.ground.boundary.buffer(STEP_ASIDE_M)
    for name, spot in so_far.places.items():
        if not rim.covers(Point(spot)):
            away_m = site.ground.boundary.distance(Point(spot))
            written = shown(source.data["places"][name])
            do = f"it lies {away_m:.1f} m outside: correct it"
            yield source.fault(("places", name), (written, "inside the boundary", do))
    for gun, strokes in so_far.left_strokes.items():
        if strokes < 0:
            texts = (str(strokes), "a whole number from 0 up", "correct it")
            yield source.fault(("left_strokes", gun), texts)
    seen: set[str] = set(so_far.gone)
    for k, moved in enumerate(so_far.moved):
        if moved.unit in seen:
            texts = (moved.unit, "each unit once, moved or gone", "take one of the two out")
            yield source.fault(("moved", k, "unit"), texts)
        seen.add(moved.unit)


def _moved_faults(source: _JsonText, so_far: DoneSoFar, site: Site) -> Iterator[Fault]:
    """What `check` would say of the units where they stand now, told in this file."""
    if not so_far.moved:
        return
    lines = {m.unit: source.line_of(("moved", k)) for k, m in enumerate(so_far.moved)}
    units = site_now(site, so_far, earlier=None).units
    here = [u.model_copy(update={"line": lines[u.unit]}) for u in units if u.unit in lines]
    # last in the list: what overlaps is told on the later one
    draft = Draft(
        Settings(None, TomlText()),
        plane=plane_of(site),
        ground=site.ground,
        units=(*(u for u in units if u.unit not in lines), *here),
        fitted={u.unit: site.machine(u) for u in units},
    )
    placed, refused = place_units(draft)
    draft = replace(draft, placed=placed)
    found = [
        *refused,
        *outside_boundary(draft, site.ground, plane_of(site)),
        *on_closed_ground(draft, site.ground),
        *across_barriers(draft, site.ground),
        *overlapping(draft),
    ]
    names = {f"unit {unit}" for unit in lines}
    for fault in sorted(set(found)):
        if fault.record in names:
            yield replace(fault, file=source.file)
