"""``last_services.csv`` and ``meter_readings.csv``: what was done when, at how many hours."""

from collections.abc import Iterator
from datetime import tzinfo
from typing import TypeVar

from pydantic import ValidationError

from greaseroute.errors import Fault
from greaseroute.site.fleet import LastService, MeterReading
from greaseroute.site.moment import moment
from greaseroute.texts.csv_table import Columns, Row, read_table
from greaseroute.texts.validation import Source, faults_of

Dated = TypeVar("Dated", LastService, MeterReading)
SERVICE_COLUMNS = Columns(("unit", "joint", "at", "meter_h"), ("notes",))
READING_COLUMNS = Columns(("unit", "at", "meter_h"), ("new_meter", "notes"))


def read_services(
    text: str, file: str, where: tzinfo
) -> tuple[tuple[LastService, ...], list[Fault]]:
    """Every service done; a row with a mistake gives its faults and no record."""
    return _read(LastService, (text, file, SERVICE_COLUMNS), where)


def read_readings(
    text: str, file: str, where: tzinfo
) -> tuple[tuple[MeterReading, ...], list[Fault]]:
    """Every meter reading; a row with a mistake gives its faults and no record."""
    return _read(MeterReading, (text, file, READING_COLUMNS), where)


def _read(
    model: type[Dated], origin: tuple[str, str, Columns], where: tzinfo
) -> tuple[tuple[Dated, ...], list[Fault]]:
    """Rows of a table as records of one model."""
    table, faults = read_table(*origin)
    if table is None:
        return (), faults
    records: list[Dated] = []
    for row in table.rows:
        record, wrong = _record(model, row, origin[1], where=where)
        records += [record] if record else []
        faults += [w for w in wrong if w.value != "nothing" or w.field in table.columns]
    return tuple(records), faults


def _record(
    model: type[Dated], row: Row, file: str, *, where: tzinfo
) -> tuple[Dated | None, list[Fault]]:
    """One row as a record, or its mistakes."""
    name = " ".join(row.cells.get(c, "?") for c in ("unit", "joint") if c in model.model_fields)
    cells: dict[str, object] = {k: v for k, v in row.cells.items() if k in model.model_fields}
    faults = list(_take_moment(cells, row, file, where=where))
    source = Source(file, lambda _: row.line, lambda _: f"unit {name}")
    try:
        record = model.model_validate({**cells, "line": row.line})
    except ValidationError as error:
        wrong = faults_of(error, model, source)
        return None, faults + [w for w in wrong if not (faults and w.field == "at")]
    return (None if faults else record), faults


def _take_moment(
    cells: dict[str, object], row: Row, file: str, *, where: tzinfo
) -> Iterator[Fault]:
    """Turn the text of ``at`` into a moment of the site's zone."""
    text = row.cells.get("at")
    if text is None:
        return
    try:
        cells["at"] = moment(text, where)
    except ValueError as error:
        del cells["at"]
        record = f"unit {row.cells.get('unit', '?')}"
        yield Fault(file, row.line, record, "at", text, str(error), "correct it")
