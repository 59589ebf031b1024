"""``site.toml`` as a record: what it may say, and every mistake in it."""

import json
import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, time
from typing import Any

from pydantic import Field, ValidationError, ValidationInfo, field_validator

from greaseroute.errors import Fault, UnknownName
from greaseroute.records import Record, about
from greaseroute.site import moment
from greaseroute.site.anchor import Anchor
from greaseroute.site.anchor_fit import why_unfit
from greaseroute.site.crew import Grease, Gun, Severity, Technician, WorkingRules
from greaseroute.site.people import Person
from greaseroute.site.work_days import weekdays_of
from greaseroute.texts.language import DEFAULT, languages
from greaseroute.texts.toml_text import TomlText, read_toml
from greaseroute.texts.validation import Path, Source, faults_of

COORDINATES = "'local metres', 'lon/lat' or 'EPSG:' and a number"
LOCAL_WORDS = {"local metres", "local meters", "metres", "meters", "local"}
LONLAT_WORDS = {"lon/lat", "lonlat", "lon lat", "lon, lat", "wgs84", "wgs 84", "epsg:4326"}
_LISTS: dict[str, type[Record]] = {
    "grease": Grease,
    "gun": Gun,
    "technician": Technician,
    "severity": Severity,
    "person": Person,
}


def coordinate_system(text: str) -> str:
    """The one spelling of a coordinate system: ``local metres``, ``lon/lat`` or ``EPSG:n``.

    Raises ValueError with what is allowed.
    """
    words = " ".join(text.strip().lower().split())
    if words in LOCAL_WORDS:
        return "local metres"
    if words in LONLAT_WORDS:
        return "lon/lat"
    match = re.fullmatch(r"epsg[: ]*(\d{4,6})", words)
    if match:
        return f"EPSG:{match.group(1)}"
    raise ValueError(COORDINATES)


class SiteHead(Record):
    """The top of ``site.toml``, and its working rules."""

    name: str = about("what the site is called", min_length=1)
    time_zone: str = about("IANA time zone, such as Europe/Berlin")
    coordinates: str = about("'local metres', 'lon/lat' or 'EPSG:' and a number")
    shift_start: str = about("local time HH:MM at which the operators start")
    round_start: str = about("local time HH:MM at which the round starts")
    planned_for: str | None = about("the moment planned for; without it the next round_start", None)
    emergency_number: str = about(
        "number to call in an emergency on this site: the first line of card and summary", "",
        max_length=40, pattern=r"^[0-9+ ()/-]*$",
    )  # fmt: skip
    language: str = about(
        f"language of what is handed out: {', '.join(languages())}; --language overrides", DEFAULT
    )
    days_off: tuple[str, ...] = about(
        "weekdays on which nobody works: mon, tue, wed, thu, fri, sat, sun", ()
    )
    holidays: tuple[date, ...] = about("dates on which nobody works, such as 2031-05-01", ())
    rules: WorkingRules = about("working rules of the site", WorkingRules())
    anchor: Anchor | None = about(
        "where a site in local metres lies on the earth: points known both ways", None
    )

    @field_validator("language")
    @classmethod
    def _language(cls, code: str) -> str:
        if code not in languages():
            raise ValueError(", ".join(languages()))
        return code

    @field_validator("time_zone")
    @classmethod
    def _zone(cls, text: str) -> str:
        try:
            moment.zone(text)
        except UnknownName as error:
            raise ValueError(error.limit) from None
        return text

    @field_validator("coordinates")
    @classmethod
    def _coordinates(cls, text: str) -> str:
        return coordinate_system(text)

    @field_validator("days_off")
    @classmethod
    def _weekdays(cls, names: tuple[str, ...]) -> tuple[str, ...]:
        return weekdays_of(names)

    @field_validator("anchor")
    @classmethod
    def _anchor(cls, anchor: Anchor | None, info: ValidationInfo) -> Anchor | None:
        if anchor is not None and info.data.get("coordinates", "local metres") != "local metres":
            raise ValueError("an anchor for a site in local metres; others need none")
        if anchor is not None and (why := why_unfit(anchor)):
            raise ValueError(why)
        return anchor

    @field_validator("shift_start", "round_start")
    @classmethod
    def _clock(cls, text: str) -> str:
        return f"{moment.time_of_day(text):%H:%M}"

    @field_validator("planned_for")
    @classmethod
    def _planned(cls, text: str | None) -> str | None:
        if text is not None:
            moment.moment(text, moment.zone("UTC"))
        return text


class SiteFile(SiteHead):
    """All of ``site.toml``: the head and its lists."""

    grease: tuple[Grease, ...] = Field(min_length=1)
    gun: tuple[Gun, ...] = Field(min_length=1)
    technician: tuple[Technician, ...] = Field(min_length=1)
    severity: tuple[Severity, ...] = ()
    person: tuple[Person, ...] = ()


@dataclass(frozen=True, slots=True)
class Settings:
    """What was read of ``site.toml``: the record if it is good, else None, and the raw tables.

    The raw tables let references be checked even where a record elsewhere is at fault.
    """

    site: SiteFile | None
    text: TomlText

    @property
    def coordinates(self) -> str | None:
        """The coordinate system in its one spelling, or None where it is missing or bad."""
        try:
            return coordinate_system(str(self.text.data["coordinates"]))
        except (KeyError, ValueError):
            return None

    def entries(self, name: str) -> list[tuple[int, Mapping[str, Any]]]:
        """(number from 0, table) of each entry of a list such as ``gun``."""
        found = self.text.data.get(name, [])
        if not isinstance(found, list):
            return []
        return [(n, e) for n, e in enumerate(found) if isinstance(e, dict)]

    def names(self, name: str) -> list[str]:
        """Names of the entries of a list, good or not."""
        return [e["name"] for _, e in self.entries(name) if isinstance(e.get("name"), str)]

    def whole(self, name: str) -> bool:
        """Whether every entry of a list is a good record."""
        return len(self.good(name)) == len(self.entries(name))

    def good(self, name: str) -> list[Any]:
        """The entries of a list that are good records, whatever is wrong with the others."""
        records = []
        for _, entry in self.entries(name):
            try:
                records.append(_LISTS[name].model_validate_json(_as_json(entry), strict=True))
            except ValidationError:
                continue
        return records


def read_settings(text: str, file: str) -> tuple[Settings, list[Fault]]:
    """Read ``site.toml``; every mistake is a fault, and what could be read comes back."""
    read, faults = read_toml(text, file)
    if faults:
        return Settings(None, read), faults
    source = Source(file, read.line, lambda path: record_name(read.data, path))
    try:
        site = SiteFile.model_validate_json(_as_json(read.data), strict=True)
    except ValidationError as error:
        return Settings(None, read), list(faults_of(error, SiteFile, source))
    return Settings(site, read), []


def record_name(data: Mapping[str, Any], path: Path) -> str:
    """What a path belongs to, such as ``gun 'lever'``; the site itself at the top."""
    if len(path) >= 2 and isinstance(path[1], int):
        entries = data.get(str(path[0]))
        entry = entries[path[1]] if isinstance(entries, list) else {}
        name = entry.get("name") if isinstance(entry, dict) else None
        return f"{path[0]} {name or path[1] + 1}"
    return "site"


def _as_json(data: Mapping[str, Any]) -> str:
    """TOML tables as JSON text, whose strict reading takes lists for tuples and ISO for times."""
    return json.dumps(data, default=_plain)


def _plain(value: object) -> str:
    """TOML dates and times of day as ISO text."""
    if isinstance(value, date | time):
        return value.isoformat()
    raise TypeError(f"no JSON form of {value!r}")
