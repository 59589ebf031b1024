"""Events as tables and lines: CSV that a person may write, JSON lines that lose nothing."""

import csv
import io
import json
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from datetime import datetime, tzinfo
from typing import Any, Final, get_args

from pydantic import AwareDatetime, ValidationError

from greaseroute.errors import Fault
from greaseroute.ledger.card_file import Lines
from greaseroute.ledger.event_json import event_json, named_by_content, plain
from greaseroute.ledger.events import KINDS, Event, Happened
from greaseroute.site.moment import moment
from greaseroute.texts.csv_table import Columns, read_table
from greaseroute.texts.json_text import parsed
from greaseroute.texts.validation import Source, faults_of, unknown_name

FIRST: Final = ("kind", "at", "unit", "joint", "fitting")
FORMULA_HEADS: Final = ("=", "+", "-", "@")
"""A spreadsheet takes a cell that begins so for a formula; the apostrophe before it says text."""


def columns() -> tuple[str, ...]:
    """Every field that some kind of event has, those that tell what it is first."""
    named = [name for model in KINDS.values() for name in model.model_fields]
    return tuple(dict.fromkeys((*FIRST, *named)))


@dataclass(slots=True)
class Read:
    """Events read from a text, where they stand, and every mistake in it."""

    file: str
    events: list[Event] = field(default_factory=list)
    lines: dict[str, int] = field(default_factory=dict)
    faults: list[Fault] = field(default_factory=list)

    @property
    def where(self) -> Lines:
        """The lines of the events."""
        return Lines(self.file, self.lines)

    def take(self, values: Mapping[str, Any], line: int, *, zone: tzinfo) -> None:
        """Add the event of a row or object, or its mistakes."""
        event, wrong = event_of(values, self.file, line, zone=zone)
        self.faults += wrong
        if event is not None:
            self.events.append(event)
            self.lines.setdefault(event.id, line)


def event_of(
    values: Mapping[str, Any], file: str, line: int, *, zone: tzinfo
) -> tuple[Event | None, list[Fault]]:
    """One event from its fields; a moment without an offset is on the clock of ``zone``.

    An event without an id is named by its content, so that the same row is booked once.
    """
    kind = values.get("kind")
    record = f"event {values.get('id') or kind or line}"
    model = KINDS.get(str(kind))
    if model is None:
        texts = unknown_name(str(kind), list(KINDS), define="correct it")
        return None, [Fault(file, line, record, "kind", str(kind), *texts)]
    told = dict(values)
    faults = list(_moments(told, model, Place(file, line, record), zone=zone))
    if faults:
        return None, faults
    try:
        if not told.get("id"):
            unnamed = model.model_validate({**told, "id": "unnamed"})
            told["id"] = named_by_content(plain(unnamed))
        return model.model_validate(told), []  # type: ignore[return-value]
    except ValidationError as error:
        source = Source(file, lambda _: line, lambda _: record)
        return None, list(faults_of(error, model, source))


@dataclass(frozen=True, slots=True)
class Place:
    """Where a record stands in a file, and what it is called."""

    file: str
    line: int
    record: str


def _moments(
    told: dict[str, Any], model: type[Happened], place: Place, *, zone: tzinfo
) -> Iterator[Fault]:
    """Bring the texts of moments into the zone, telling those that are none."""
    for name, info in model.model_fields.items():
        if not isinstance(told.get(name), str) or not _is_moment(info.annotation):
            continue
        try:
            told[name] = moment(told[name], zone)
        except ValueError as error:
            yield Fault(place.file, place.line, place.record, name, told[name], str(error),
                        "correct it")  # fmt: skip


def _is_moment(annotation: object) -> bool:
    return annotation in (AwareDatetime, datetime) or AwareDatetime in get_args(annotation)


def read_csv(text: str, file: str, *, zone: tzinfo) -> Read:
    """Events of a table with a header; columns in any order, cells left empty are left out."""
    read = Read(file)
    table, read.faults = read_table(text, file, Columns(("kind", "at"), columns()[2:]))
    for row in table.rows if table else ():
        values = {name: _cell(name, text) for name, text in row.cells.items()}
        read.take(values, row.line, zone=zone)
    return read


def _cell(name: str, text: str) -> Any:  # noqa: ANN401
    """A cell as written; without the apostrophe that kept it from being a formula."""
    if text[:1] == "'" and text[1:2] in FORMULA_HEADS:
        text = text[1:]
    if name == "walks":
        try:
            return json.loads(text)
        except ValueError:
            return text
    return text


def read_json_lines(text: str, file: str, *, zone: tzinfo) -> Read:
    """Events of a text with one JSON object a line; blank lines are skipped."""
    read = Read(file)
    for number, line in enumerate(text.splitlines(), 1):
        if not line.strip():
            continue
        data, wrong = parsed(line, file)
        if wrong or not isinstance(data, dict):
            texts = (line.strip()[:60], "one event in braces on each line", "mend the line")
            read.faults.append(Fault(file, number, "event", "-", *texts))
            continue
        read.take(data, number, zone=zone)
    return read


def json_lines(events: Iterable[Event]) -> str:
    """One event a line, complete: read back, they are the same events."""
    return "".join(event_json(event) + "\n" for event in events)


def csv_text(events: Iterable[Event]) -> str:
    """A table of events for a spreadsheet, complete: read back, they are the same events."""
    out = io.StringIO()
    writer = csv.DictWriter(out, fieldnames=columns(), lineterminator="\r\n")
    writer.writeheader()
    for event in events:
        writer.writerow({name: _text(value) for name, value in plain(event).items()})
    return out.getvalue()


def _text(value: object) -> object:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, list | dict):
        return json.dumps(value, ensure_ascii=False)
    if isinstance(value, str) and value[:1] in FORMULA_HEADS:
        return "'" + value
    return value
