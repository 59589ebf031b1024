"""``fleet.csv``: one row for each unit."""

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import tzinfo

from pydantic import ValidationError

from greaseroute.errors import Fault
from greaseroute.site.csv_file import Columns, Row, read_table
from greaseroute.site.faults import Source, faults_of
from greaseroute.site.fleet import Unit
from greaseroute.site.moment import moment, time_of_day

_LIST = re.compile(r"\s*[|+,;]\s*")
_WINDOW = ("parked_from", "parked_to")
_OPTIONAL = (
    "posture",
    "slew_deg",
    "hours_per_day",
    "parked_from",
    "parked_to",
    "severity",
    "attachments",
    "notes",
)


@dataclass(frozen=True, slots=True)
class FleetRows:
    """The good units, still in the coordinates of the file, and the names of all rows."""

    units: tuple[Unit, ...] = ()
    named: tuple[str, ...] = ()


def position_columns(system: str) -> tuple[str, str]:
    """The two columns that hold a unit's position in that coordinate system."""
    return ("lon", "lat") if system == "lon/lat" else ("x_m", "y_m")


def read_fleet(
    text: str, file: str, *, system: str, where: tzinfo
) -> tuple[FleetRows, list[Fault]]:
    """Read every unit; a row with a mistake gives its faults and no unit."""
    columns = position_columns(system)
    table, faults = read_table(
        text, file, Columns(("unit", "type", *columns, "heading_deg", "meter_h"), _OPTIONAL)
    )
    if table is None:
        return FleetRows(), faults
    units: list[Unit] = []
    if not table.rows:
        allowed = "at least one unit"
        faults.append(Fault(file, table.header_line, "fleet", "-", "no rows", allowed, "add one"))
    for row in table.rows:
        unit, wrong = _unit(row, file, columns=columns, where=where)
        units += [unit] if unit else []
        faults += [w for w in wrong if w.value != "nothing" or w.field in table.columns]
    return FleetRows(tuple(units), tuple(r.cells.get("unit", "") for r in table.rows)), faults


def _unit(
    row: Row, file: str, *, columns: tuple[str, str], where: tzinfo
) -> tuple[Unit | None, list[Fault]]:
    """The unit of one row, or its mistakes."""
    name = f"unit {row.cells.get('unit', '?')}"
    cells: dict[str, object] = dict(row.cells)
    faults = list(_take_window(cells, Row(row.line, row.cells), file, where=where))
    for column, field in zip(columns, ("x_m", "y_m"), strict=True):
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
