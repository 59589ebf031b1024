"""``fleet.csv``: one row for each unit."""

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import tzinfo

from pydantic import ValidationError

from greaseroute.errors import Fault
from greaseroute.site.fleet import Unit
from greaseroute.site.moment import moment, time_of_day
from greaseroute.texts.csv_table import Columns, Row, Table, read_table
from greaseroute.texts.validation import Source, faults_of

_LIST = re.compile(r"\s*[|+,;]\s*")
MOST_UNITS = 2000  # 400 take a minute to plan; the time grows with the square
_WINDOW = ("parked_from", "parked_to")
_NEEDED = ("unit", "type", "heading_deg", "meter_h")
_POSITIONS = (("x_m", "y_m"), ("lon", "lat"))
_OPTIONAL = (
    "posture",
    "slew_deg",
    "hours_per_day",
    "parked_from",
    "parked_to",
    "severity",
    "attachments",
    "skill",
    "notes",
)


@dataclass(frozen=True, slots=True)
class FleetRows:
    """The good units, still in the coordinates of the file, and the names of all rows.

    ``named`` is None where no table could be read.
    """

    units: tuple[Unit, ...] = ()
    named: tuple[str, ...] | None = None


def position_columns(system: str) -> tuple[str, str]:
    """The two columns that hold a unit's position in that coordinate system."""
    return ("lon", "lat") if system == "lon/lat" else ("x_m", "y_m")


def read_fleet(
    text: str, file: str, *, system: str | None, where: tzinfo
) -> tuple[FleetRows, list[Fault]]:
    """Read every unit; a row with a mistake gives its faults and no unit.

    Where the coordinate ``system`` is not known, the columns that are there tell it.
    """
    known = Columns(_NEEDED, (*_POSITIONS[0], *_POSITIONS[1], *_OPTIONAL))
    table, faults = read_table(text, file, known)
    if table is None:
        return FleetRows(), faults
    if system is None:
        system = "lon/lat" if set(_POSITIONS[1]) <= set(table.columns) else "local metres"
    columns = position_columns(system)
    astray = list(_position_faults(table, file, system=system))
    if astray:
        return FleetRows((), _names(table)), [*faults, *astray]
    units: list[Unit] = []
    if len(table.rows) > MOST_UNITS:
        value, allowed = f"{len(table.rows)} units", f"at most {MOST_UNITS} units"
        texts = (value, allowed, "make a site folder for each part of the site")
        return FleetRows((), _names(table)), [Fault(file, table.header_line, "fleet", "-", *texts)]
    if not table.rows:
        allowed = "at least one unit"
        faults.append(Fault(file, table.header_line, "fleet", "-", "no rows", allowed, "add one"))
    for row in table.rows:
        unit, wrong = _unit(row, file, columns=columns, where=where)
        units += [unit] if unit else []
        faults += [w for w in wrong if w.value != "nothing" or w.field in table.columns]
    return FleetRows(tuple(units), _names(table)), faults


def _names(table: Table) -> tuple[str, ...]:
    return tuple(row.cells.get("unit", "") for row in table.rows)


def _position_faults(table: Table, file: str, *, system: str) -> Iterator[Fault]:
    """Position columns that are missing, or those of another coordinate system."""
    columns = position_columns(system)
    other = next(pair for pair in _POSITIONS if pair != columns)
    missing = [c for c in columns if c not in table.columns]
    if len(missing) == 2 and set(other) <= set(table.columns):
        allowed = f"{', '.join(columns)}, since site.toml says {system!r}"
        do = "rename the columns, or correct the coordinates in site.toml"
        value = ", ".join(other)
        yield Fault(file, table.header_line, "header", "columns", value, allowed, do)
        return
    for column in missing:
        do = "add the column"
        yield Fault(file, table.header_line, "header", column, "missing", "this column", do)


def _unit(
    row: Row, file: str, *, columns: tuple[str, str], where: tzinfo
) -> tuple[Unit | None, list[Fault]]:
    """The unit of one row, or its mistakes."""
    name = f"unit {row.cells.get('unit', '?')}"
    cells: dict[str, object] = dict(row.cells)
    faults = list(_take_window(cells, Row(row.line, row.cells), file, where=where))
    for column, field in zip(columns, _POSITIONS[0], strict=True):
        cells.pop(field, None) if field != column else None
        if column in cells:
            cells[field] = cells.pop(column)
    if cells.get("heading_deg") in {"360", "360.0"}:
        cells["heading_deg"] = "0"
    if "attachments" in cells:
        cells["attachments"] = tuple(a for a in _LIST.split(str(cells["attachments"])) if a)
    faults += _range_faults(row, file, columns)
    source = Source(
        file, lambda _: row.line, lambda _: name, {"x_m": columns[0], "y_m": columns[1]}
    )
    known = {k: v for k, v in cells.items() if k in Unit.model_fields}
    try:
        unit = Unit.model_validate({**known, "line": row.line})
    except ValidationError as error:
        return None, [*faults, *faults_of(error, Unit, source)]
    return (None if faults else unit), faults


def _take_window(
    cells: dict[str, object], row: Row, file: str, *, where: tzinfo
) -> Iterator[Fault]:
    """Turn the window's texts into moments, or into times of day where no date is given."""
    for column in _WINDOW:
        text = row.cells.get(column)
        if text is None:
            continue
        try:
            if "-" in text or "." in text:
                cells[column] = moment(text, where)
            else:
                cells[f"{column}_clock"] = time_of_day(text)
                del cells[column]
        except ValueError:
            del cells[column]
            allowed = "a time of day HH:MM or a date and time such as 2026-11-25T05:00"
            record = f"unit {row.cells.get('unit', '?')}"
            yield Fault(file, row.line, record, column, text, allowed, "correct it")


def _range_faults(row: Row, file: str, columns: tuple[str, str]) -> Iterator[Fault]:
    """Longitude and latitude outside their ranges, with a word where they look swapped."""
    if columns[0] != "lon":
        return
    lon, lat = (_number(row.cells, c) for c in columns)
    if lon is None or lat is None or (abs(lon) <= 180 and abs(lat) <= 90):
        return
    swapped = abs(lon) <= 90 and abs(lat) <= 180
    yield Fault(
        file,
        row.line,
        f"unit {row.cells.get('unit', '?')}",
        "lon, lat",
        f"{lon:g}, {lat:g}",
        "longitude -180 to 180, latitude -90 to 90",
        "they look swapped: exchange them" if swapped else "correct it",
    )


def _number(cells: Mapping[str, str], column: str) -> float | None:
    try:
        return float(cells[column])
    except (KeyError, ValueError):
        return None
