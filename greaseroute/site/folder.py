"""The folder of a site: read whole, every fault found, nothing written."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from zoneinfo import ZoneInfo

from shapely.geometry import Polygon

from greaseroute.catalogue.shelf import shelf_attachments
from greaseroute.errors import BadInput, Fault, Remark, UnknownName
from greaseroute.site.checks.crew import crew_faults
from greaseroute.site.checks.fleet import fit_units, fleet_faults, place_units
from greaseroute.site.checks.ground import ground_faults
from greaseroute.site.checks.history import history_faults
from greaseroute.site.checks.joints import joint_faults
from greaseroute.site.checks.start_values import start_value_faults
from greaseroute.site.checks.strange import strange
from greaseroute.site.files.draft import FLEET, GROUND, READINGS, RECORD, SERVICES, SITE, Draft
from greaseroute.site.files.fleet_csv import read_fleet
from greaseroute.site.files.ground_geojson import Feature, read_features
from greaseroute.site.files.ground_plan import (
    boundary_of,
    build_ground,
    clipped_to,
    far_features,
    into_plane,
)
from greaseroute.site.files.history_csv import read_readings, read_services
from greaseroute.site.files.own_types import (
    OwnFiles,
    read_own_files,
    type_name,
    types_in_use,
    with_confirmations,
)
from greaseroute.site.files.settings import Settings, read_settings
from greaseroute.site.fleet import Unit
from greaseroute.site.geodesy import LocalPlane, local_plane
from greaseroute.site.model import Site
from greaseroute.site.moment import in_zone, moment, zone
from greaseroute.site.work_days import WorkDays
from greaseroute.texts.text_file import read_text
from greaseroute.texts.toml_text import TomlText

LEAST_SITE_M, MOST_SITE_M = 1.0, 100_000.0

CHECKS: tuple[Callable[[Draft], Iterator[Fault]], ...] = (
    crew_faults,
    ground_faults,
    fleet_faults,
    joint_faults,
    history_faults,
    start_value_faults,
)


def read_site(folder: Path, *, now: datetime | None = None) -> Site:
    """The site of a folder. Raises BadInput with every fault; see ``gather`` for ``now``."""
    site, faults = gather(folder, now=now)
    if site is None:
        raise BadInput(str(folder), faults)
    return site


@dataclass(frozen=True, slots=True)
class FolderReading:
    """What came of a folder: the site, or None and every fault; and what is strange but can be.

    Both are sorted by file and line.
    """

    site: Site | None
    faults: tuple[Fault, ...]
    remarks: tuple[Remark, ...] = ()


class _Faults(list[Fault]):
    """The faults found so far, with the remarks beside them."""

    def __init__(self) -> None:
        super().__init__()
        self.remarks: list[Remark] = []


def gather(folder: Path, *, now: datetime | None = None) -> tuple[Site | None, tuple[Fault, ...]]:
    """The site of a folder, or None and every fault in it: `read_folder` without remarks."""
    reading = read_folder(folder, now=now)
    return reading.site, reading.faults


def read_folder(
    folder: Path, *, now: datetime | None = None, clock: datetime | None = None
) -> FolderReading:
    """The site of a folder, or None and every fault in it; and every remark.

    The later of ``now`` (the moment asked for; without a zone in that of the site) and the site's
    own ``planned_for`` tells services done from services yet to come. Where there is neither,
    ``clock`` (with a zone) does; without it, nothing does.
    """
    if not folder.is_dir():
        return FolderReading(None, (_no_folder(folder),))
    draft, faults = _read(folder)
    given = None if now is None else in_zone(now, _zone_or_utc(draft.settings))
    moments = [m for m in (given, _planned_for(draft.settings)) if m is not None]
    draft = replace(draft, now=max(moments, default=clock))
    draft = replace(draft, fitted=fit_units(draft))
    placed, refused = place_units(draft)
    draft = replace(draft, placed=placed)
    told = {*faults, *refused, *(f for check in CHECKS for f in check(draft))}
    remarks = tuple(sorted({*faults.remarks, *strange(draft)}))
    site = None if told else _site(draft)
    return FolderReading(site, tuple(sorted(told)), remarks)


def _no_folder(folder: Path) -> Fault:
    value = "a file" if folder.exists() else "missing"
    return Fault(folder.as_posix(), 1, "folder", "-", value, "a site folder", "correct the path")


def _read(folder: Path) -> tuple[Draft, _Faults]:
    """Every file of the folder, as far as it can be read."""
    faults = _Faults()
    settings = _settings(folder, faults)
    drawn = _ground(folder, settings, faults)
    own, wrong = read_own_files(folder, faults.remarks)
    faults += wrong
    where = _zone_or_utc(settings)
    plane = _plane_of(settings) if drawn.plane is None else drawn.plane
    recorded = (folder / RECORD).is_file()
    draft = Draft(settings=settings, own_types=own.types, plane=plane, recorded=recorded)
    text = _text(folder, FLEET, faults)
    if text is not None:
        rows, wrong = read_fleet(text, FLEET, system=settings.coordinates, where=where)
        faults += wrong
        units = tuple(_in_plane(u, drawn.plane) for u in rows.units)
        draft = replace(draft, units=units, unit_rows=rows.named)
    draft = _with_ground(draft, drawn, faults)
    draft = _with_history(folder, draft, faults, where=where)
    return _with_types(draft, own), faults


def _text(folder: Path, name: str, faults: _Faults, *, needed: bool = True) -> str | None:
    text, wrong = read_text(folder, name, needed=needed, remarks=faults.remarks)
    faults += wrong
    return text


def _settings(folder: Path, faults: _Faults) -> Settings:
    text = _text(folder, SITE, faults)
    if text is None:
        return Settings(None, TomlText())
    settings, wrong = read_settings(text, SITE)
    faults += wrong
    return settings


def _plane_of(settings: Settings) -> LocalPlane | None:
    """The plane that needs no ground plan: that of local metres."""
    local = settings.coordinates == "local metres"
    return local_plane("local metres", (0.0, 0.0)) if local else None


@dataclass(frozen=True, slots=True)
class _Drawn:
    """What was read of the ground plan: features, and boundary and plane where they are known."""

    features: list[Feature]
    boundary: Polygon | None
    plane: LocalPlane | None
    unread: tuple[str, ...] = ()


def _ground(folder: Path, settings: Settings, faults: _Faults) -> _Drawn:
    """The good features, and the boundary and plane where the coordinates are known."""
    text = _text(folder, GROUND, faults)
    if text is None:
        return _Drawn([], None, None)
    system = settings.coordinates
    features, wrong = read_features(text, GROUND, lonlat=system == "lon/lat")
    unread = tuple(f.record for f in wrong)
    unplaced = into_plane(features, local_plane("local metres", (0.0, 0.0)))
    drawn, missing = boundary_of(unplaced, GROUND)
    # A boundary that is there but at fault has been told already; it is not missing as well.
    told = any(r.startswith(("boundary ", "feature ")) for r in unread) or (wrong and not features)
    faults += [*wrong, *(m for m in missing if not (told and m.value == "missing"))]
    if system is None or drawn is None:
        return _Drawn(features, None, None, unread)
    try:
        plane = local_plane(system, (drawn.centroid.x, drawn.centroid.y))
        boundary, _ = boundary_of(into_plane(features, plane), GROUND)
        _refuse_size(system, boundary)
    except UnknownName as error:
        line = settings.text.line(("coordinates",))
        texts = (error.value, error.limit, error.next_step)
        faults.append(Fault(SITE, line, "site", "coordinates", *texts))
        return _Drawn(features, None, None, unread)
    return _Drawn(features, boundary, plane, unread)


def _refuse_size(system: str, boundary: Polygon | None) -> None:
    """Raise UnknownName where the numbers cannot be of that system: degrees for metres, or so."""
    west, south, east, north = boundary.bounds if boundary else (0.0, 0.0, 1.0, 1.0)
    size_m = max(east - west, north - south)
    if not LEAST_SITE_M <= size_m <= MOST_SITE_M:
        raise UnknownName(
            "coordinates",
            f"{system}: the boundary is {size_m:.3g} m wide",
            limit=f"a site {LEAST_SITE_M:g} m to {MOST_SITE_M / 1000:g} km wide",
            next_step="name the system that the numbers are in"
            + (": they look like degrees, 'lon/lat'" if size_m < LEAST_SITE_M else ""),
        )


def _with_ground(draft: Draft, drawn: _Drawn, faults: _Faults) -> Draft:
    """The draft with the ground plan; a gate is not blamed for a barrier that was not read."""
    if drawn.boundary is None or drawn.plane is None:
        return draft
    draft = replace(
        draft,
        unread=frozenset(r.split(" ")[0] for r in drawn.unread),
        unread_places=tuple(r.removeprefix("place ") for r in drawn.unread if r[:6] == "place "),
    )
    placed = into_plane(drawn.features, drawn.plane)
    faults.remarks += far_features(placed, drawn.boundary, GROUND)
    ground, wrong = build_ground(clipped_to(placed, drawn.boundary), drawn.boundary, GROUND)
    faults += [w for w in wrong if draft.all_read("barrier") or not w.record.startswith("gate ")]
    roads_at_fault = any(w.record.startswith("haul_road ") for w in wrong)
    more = {"haul_road"} if roads_at_fault else set()
    return replace(draft, ground=ground, unread=draft.unread | more)


def _in_plane(unit: Unit, plane: LocalPlane | None) -> Unit:
    """A unit with its position in the local plane."""
    if plane is None or plane.origin_lonlat is None:
        return unit
    x_m, y_m = plane.point(unit.x_m, unit.y_m)
    return unit.model_copy(update={"x_m": x_m, "y_m": y_m})


def _with_history(folder: Path, draft: Draft, faults: _Faults, *, where: ZoneInfo) -> Draft:
    """The draft with services and readings, where the folder has them."""
    text = _text(folder, SERVICES, faults, needed=False)
    if text is not None:
        services, wrong = read_services(text, SERVICES, where)
        faults += wrong
        draft = replace(draft, services=services)
    text = _text(folder, READINGS, faults, needed=False)
    if text is not None:
        readings, wrong = read_readings(text, READINGS, where)
        faults += wrong
        draft = replace(draft, readings=readings)
    return draft


def _with_types(draft: Draft, own: OwnFiles) -> Draft:
    """The draft with the machine types and attachments its units name, start values confirmed."""
    broken = frozenset(type_name(o) for o in draft.own_types if o.machine_type is None)
    types = types_in_use(draft.own_types, (u.type for u in draft.units))
    types = with_confirmations(types, own.confirmations)
    hung_on = any(unit.attachments for unit in draft.units)
    attachments = {**shelf_attachments(), **own.attachments} if hung_on else own.attachments
    return replace(draft, types=types, attachments=attachments, broken_types=broken)


def _zone_or_utc(settings: Settings) -> ZoneInfo:
    """The site's zone; UTC where it is at fault, so that the rest can still be read."""
    try:
        return zone(str(settings.text.data.get("time_zone")))
    except UnknownName:
        return zone("UTC")


def _planned_for(settings: Settings) -> datetime | None:
    """The site's own moment planned for, if it gives a good one."""
    if settings.site is None or settings.site.planned_for is None:
        return None
    return moment(settings.site.planned_for, zone(settings.site.time_zone))


def _site(draft: Draft) -> Site:
    """The finished site of a draft without faults."""
    head = draft.settings.site
    if head is None or draft.ground is None or draft.plane is None:
        raise AssertionError("a draft without faults has settings, ground and plane")
    return Site(
        name=head.name,
        time_zone=head.time_zone,
        coordinates=draft.settings.coordinates or head.coordinates,
        shift_start=head.shift_start,
        round_start=head.round_start,
        rules=head.rules,
        greases=head.grease,
        guns=head.gun,
        technicians=head.technician,
        severities=head.severity,
        people=head.person,
        ground=draft.ground,
        units=draft.units,
        types={name: draft.types[name] for name in sorted({u.type for u in draft.units})},
        machines={(u.type, u.attachments): draft.fitted[u.unit] for u in draft.units},
        last_services=draft.services,
        meter_readings=draft.readings,
        origin_lonlat=draft.plane.origin_lonlat,
        anchor=head.anchor,
        planned_for=_planned_for(draft.settings),
        emergency_number=head.emergency_number,
        language=head.language,
        work_days=WorkDays(head.days_off, tuple(sorted(set(head.holidays)))),
    )
