"""When a machine was not on the site."""

from collections.abc import Iterable
from datetime import datetime

from greaseroute.ledger.events import Arrived, Away, Event, Left
from greaseroute.site.past import Absence


def absences_of(events: Iterable[Event]) -> dict[str, tuple[Absence, ...]]:
    """When each unit was not on the site: told as away, or from leaving to arriving."""
    found: dict[str, list[Absence]] = {}
    ordered = [e for e in events if isinstance(e, Arrived | Away | Left)]
    for event in sorted(ordered, key=lambda e: e.at):
        spans = found.setdefault(event.unit, [])
        if isinstance(event, Arrived):
            found[event.unit] = [s for s in (_ended(span, event.at) for span in spans) if s]
            continue
        until = event.until if isinstance(event, Away) else None
        spans.append(Absence(unit=event.unit, since=event.at, until=until, words=event.words))
    return {unit: tuple(spans) for unit, spans in found.items() if spans}


def _ended(span: Absence, arrived: datetime) -> Absence | None:
    """An absence that an arrival ends; one that had not begun yet is called off."""
    if span.since >= arrived:
        return None
    if span.until is not None and span.until <= arrived:
        return span
    return span.model_copy(update={"until": arrived})
