"""The file that a card exports: read, every mistake told, turned into events."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Annotated, Any, Literal, Self

from pydantic import AwareDatetime, Field, ValidationError, model_validator

from greaseroute.errors import Fault
from greaseroute.ledger.event_json import named_by_content
from greaseroute.ledger.events import (
    CartridgeFitted,
    CheckDone,
    CouldNot,
    Defect,
    DefectSeen,
    Event,
    EventId,
    Greased,
    MeterRead,
    Reason,
    Uptake,
    UptakeSeen,
    Words,
)
from greaseroute.ledger.planned import Name
from greaseroute.ledger.report import Report
from greaseroute.records import Record
from greaseroute.texts.json_text import locate, parsed
from greaseroute.texts.validation import Path, Source, faults_of, line_in, shown

LOOKS_LIKE = '"greaseroute card '


class CardEntry(Record):
    """One row of the card as it is ticked: a fitting, or a daily check (``look``).

    ``done`` is None where nothing is said but a finding. Cards of format 1 know no gun, words,
    defect, uptake, or cartridge.
    """

    id: EventId
    at: AwareDatetime
    technician: Name
    unit: Name
    joint: Name | None = None
    fitting: Name | None = None
    look: Name | None = None
    done: bool | None = None
    strokes: int | None = Field(default=None, ge=0, le=10_000)
    planned_strokes: int | None = Field(default=None, ge=0, le=10_000)
    grease: Name | None = None
    gun: Name | None = None
    put_in: int = Field(default=0, ge=0, le=100)
    reason: Reason | None = None
    words: Words = ""
    defect: Defect | None = None
    uptake: Uptake | None = None
    found: Words = ""

    @model_validator(mode="after")
    def _whole(self) -> Self:
        if (self.look is None) == (self.joint is None):
            raise ValueError("a joint, or a look")
        if self.done is False and self.reason is None:
            raise ValueError("a reason where it was not done")
        if self.done is None and self.defect is None and self.uptake is None:
            raise ValueError("done, or a finding")
        return self


class CardMeter(Record):
    """A meter as read on the walk; ``sure`` where the card asked about it."""

    unit: Name
    meter_h: float = Field(ge=0, le=1_000_000)
    at: AwareDatetime
    sure: bool = False


class CardFile(Record):
    """The whole export. ``technician`` is whose walk it is; missing: of every walk on the card."""

    format: Literal["greaseroute card 1", "greaseroute card 2"]
    round: EventId
    site: Name
    planned_for: AwareDatetime
    exported_at: AwareDatetime
    technician: Name | None = None
    device: EventId | None = None
    events: Annotated[tuple[CardEntry, ...], Field(max_length=20_000)] = ()
    meters: Annotated[tuple[CardMeter, ...], Field(max_length=5_000)] = ()


@dataclass(frozen=True, slots=True)
class Lines:
    """Where the values of a text stand: the line of an event by its id, else the first line."""

    file: str
    of_event: Mapping[str, int]

    def line(self, event_id: str) -> int:
        """The line an event stands on."""
        return self.of_event.get(event_id, 1)


def read_card(text: str, file: str) -> tuple[Report | None, Lines, list[Fault]]:
    """What a card's export tells, and where its events stand; or None and every mistake in it."""
    data, faults = parsed(text, file)
    if faults:
        return None, Lines(file, {}), faults
    if not isinstance(data, dict):
        texts = (shown(data), "the object in braces that a card exports", "hand in that file")
        return None, Lines(file, {}), [Fault(file, 1, "card", "-", *texts)]
    index = locate(text)
    source = Source(file, lambda path: line_in(index, path), _record_of)
    try:
        card = CardFile.model_validate_json(text, strict=True)
    except ValidationError as error:
        return None, Lines(file, {}), list(faults_of(error, CardFile, source))
    lines = {event.id: line_in(index, path) for event, path in _events(card, file)}
    return report_of(card, file), Lines(file, lines), []


def _record_of(path: Path) -> str:
    if len(path) >= 2 and isinstance(path[1], int):
        return f"{path[0]} {path[1] + 1}"
    return "card"


def report_of(card: CardFile, file: str) -> Report:
    """The events of a card that was read from ``file``."""
    told = {event.technician for event in card.events}
    return Report(
        source=file,
        plan=card.round,
        site=card.site,
        planned_for=card.planned_for,
        told_at=card.exported_at,
        device=card.device,
        technicians=frozenset({card.technician} if card.technician else told),
        events=tuple(event for event, _ in _events(card, file)),
    )


def _events(card: CardFile, file: str) -> Iterator[tuple[Event, Path]]:
    """Every event of the card with the place of its entry."""
    for number, entry in enumerate(card.events):
        for event in _of_entry(entry, _told(card, file)):
            yield event, ("events", number)
    for number, meter in enumerate(card.meters):
        values: dict[str, Any] = {
            **_told(card, file),
            "at": meter.at,
            "technician": card.technician,
            "unit": meter.unit,
            "meter_h": meter.meter_h,
            "sure": meter.sure,
        }
        name = named_by_content({"plan": card.round, **meter.model_dump(mode="json")})
        yield MeterRead(id=name, **values), ("meters", number)


def _told(card: CardFile, file: str) -> dict[str, Any]:
    return {
        "plan": card.round,
        "device": card.device,
        "told_at": card.exported_at,
        "source": file[-200:],
    }


def _of_entry(entry: CardEntry, told: Mapping[str, Any]) -> Iterator[Event]:
    """What one row tells: done or not, a cartridge put in, what was found."""
    who: dict[str, Any] = {
        **told,
        "at": entry.at,
        "technician": entry.technician,
        "unit": entry.unit,
    }
    place: dict[str, Any] = {"joint": entry.joint, "fitting": entry.fitting}
    if entry.done is False:
        checked = {**place, "check": entry.look, "reason": entry.reason}
        yield CouldNot(id=entry.id, words=entry.words, **checked, **who)
    elif entry.done and entry.look is not None:
        yield CheckDone(
            id=entry.id, check=entry.look, good=not entry.found, words=entry.found, **who
        )
    elif entry.done:
        yield from _greased(entry, {**who, **place})
    if entry.defect is not None:
        yield DefectSeen(id=f"{entry.id}-d", defect=entry.defect, words=entry.found, **place, **who)
    if entry.uptake is not None:
        yield UptakeSeen(id=f"{entry.id}-u", uptake=entry.uptake, **place, **who)


def _greased(entry: CardEntry, where: Mapping[str, Any]) -> Iterator[Event]:
    planned = entry.planned_strokes if entry.planned_strokes is not None else entry.strokes
    yield Greased(
        id=entry.id,
        strokes=entry.strokes,
        planned_strokes=planned,
        grease=entry.grease,
        gun=entry.gun,
        words=entry.words,
        **where,
    )
    if entry.put_in and entry.grease:
        yield CartridgeFitted(
            id=f"{entry.id}-c",
            grease=entry.grease,
            gun=entry.gun,
            cartridges=entry.put_in,
            **where,
        )
