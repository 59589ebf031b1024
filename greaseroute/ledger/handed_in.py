"""What somebody hands in: found out what it is, and read."""

from collections.abc import Sequence
from datetime import tzinfo

from greaseroute.errors import BadInput, Fault
from greaseroute.ledger import card_file
from greaseroute.ledger.booking import HandedIn
from greaseroute.ledger.card_file import Lines, read_card
from greaseroute.ledger.photo import is_picture, receipt_in_picture
from greaseroute.ledger.receipt import find_receipt
from greaseroute.ledger.receipt_report import PlanOf, read_receipt
from greaseroute.ledger.table import Read, event_of, read_csv, read_json_lines

TAKEN = "the export of a card, a receipt, a picture of its code, or events as JSON lines or CSV"


def read_handed_in(data: bytes, name: str, *, zone: tzinfo, plan_of: PlanOf) -> HandedIn:
    """What was handed in: a card's export, a receipt or its picture, events as lines or a table.

    ``name`` is the file it came from, for messages; ``plan_of`` finds the plan of a receipt.
    Raises BadInput with every mistake.
    """
    if is_picture(data):
        receipt, faults = receipt_in_picture(data, name)
        if receipt is None:
            raise BadInput(name, faults)
        return _receipt(receipt, name, plan_of)
    text = _decoded(data, name)
    if not text.strip():
        fault = Fault(name, 1, "file", "-", "empty", TAKEN, "hand in the right file")
        raise BadInput(name, [fault])
    if card_file.LOOKS_LIKE in text:
        report, lines, faults = read_card(text, name)
        if report is None:
            raise BadInput(name, faults)
        return HandedIn(lines, report)
    first = text.lstrip()[:1]
    if first != "{" and find_receipt(text):
        return _receipt(text, name, plan_of)
    return _events((read_json_lines if first == "{" else read_csv)(text, name, zone=zone))


def _decoded(data: bytes, name: str) -> str:
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        texts = (f"byte 0x{data[error.start]:02x}", f"UTF-8 text or a picture: {TAKEN}")
        raise BadInput(
            name, [Fault(name, line, "file", "encoding", *texts, "send it again")]
        ) from error


def _receipt(text: str, name: str, plan_of: PlanOf) -> HandedIn:
    report, faults = read_receipt(text, name, plan_of)
    if report is None:
        raise BadInput(name, faults)
    return HandedIn(Lines(name, {}), report)


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


def is_text_itself(words: str) -> bool:
    """Whether words are a card's export or a receipt themselves, not the name of a file."""
    return words.lstrip()[:1] == "{" or find_receipt(words) is not None
