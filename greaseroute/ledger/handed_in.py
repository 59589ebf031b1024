"""What somebody hands in: found out what it is, and read."""

import json
from collections.abc import Sequence
from datetime import tzinfo

from greaseroute.errors import BadInput, Fault
from greaseroute.ledger import card_file
from greaseroute.ledger.booking import HandedIn
from greaseroute.ledger.card_file import Lines, read_card
from greaseroute.ledger.table import Read, event_of, read_csv, read_json_lines

TAKEN = "the export of a card, a receipt, a picture of its code, or events as JSON lines or CSV"


def read_handed_in(text: str, name: str, *, zone: tzinfo) -> HandedIn:
    """A text that was handed in: the export of a card, or events as JSON lines or a table.

    ``name`` is the file it came from, for messages. Raises BadInput with every mistake.
    """
    if not text.strip():
        fault = Fault(name, 1, "file", "-", "empty", TAKEN, "hand in the right file")
        raise BadInput(name, [fault])
    if card_file.LOOKS_LIKE in text:
        report, lines, faults = read_card(text, name)
        if report is None:
            raise BadInput(name, faults)
        return HandedIn(lines, report)
    first = text.lstrip()[:1]
    read = (read_json_lines if first == "{" else read_csv)(text, name, zone=zone)
    return _events(read)


def _events(read: Read) -> HandedIn:
    if read.faults:
        raise BadInput(read.file, read.faults)
    return HandedIn(read.where, None, tuple(read.events))


def typed_event(words: Sequence[str], *, zone: tzinfo) -> HandedIn:
    """An event typed as a kind and fields: ``away unit=DT-03 at=2026-10-01 until=2026-10-08``.

    Raises BadInput with every mistake.
    """
    name, values = "--event", {"kind": words[0], "source": "typed"}
    for word in words[1:]:
        field, sign, value = word.partition("=")
        if not sign:
            texts = (word, "a field and its value, such as unit=DT-03", "correct it")
            raise BadInput(name, [Fault(name, 1, f"event {words[0]}", "-", *texts)])
        values[field.strip()] = value.strip()
    event, faults = event_of(values, name, 1, zone=zone)
    if event is None:
        raise BadInput(name, faults)
    return HandedIn(Lines(name, {event.id: 1}), None, (event,))


def is_json_object(text: str) -> bool:
    """Whether a text is one JSON object."""
    try:
        return isinstance(json.loads(text), dict)
    except ValueError:
        return False
