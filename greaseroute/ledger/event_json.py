"""Events as lines of JSON, and ids made of what happened."""

import hashlib
import json
from collections.abc import Mapping
from typing import Any, Final

from greaseroute.ledger.events import ANY_EVENT, Event, Happened

ID_FIGURES: Final = 20
NOT_CONTENT: Final = {"id", "told_at", "device", "source"}
"""Fields that say how an event was told, not what happened."""


def plain(event: Happened) -> dict[str, Any]:
    """The event as JSON values, without what was left out."""
    return event.model_dump(mode="json", exclude_none=True, exclude_defaults=False)


def event_json(event: Happened) -> str:
    """The event as one line of JSON, the same for the same event."""
    return json.dumps(_short(plain(event)), ensure_ascii=False, sort_keys=True)


def _short(values: Mapping[str, Any]) -> dict[str, Any]:
    return {name: value for name, value in values.items() if value != ""}


def read_event(text: str | bytes) -> Event:
    """An event from its line of JSON. Raises pydantic's ValidationError."""
    return ANY_EVENT.validate_json(text)


def named_by_content(values: Mapping[str, Any]) -> str:
    """An id made of what happened: the same values give the same id, so they are booked once.

    ``values`` are those of the event as JSON; how it was told does not count.
    """
    content = {name: value for name, value in values.items() if name not in NOT_CONTENT}
    text = json.dumps(_short(content), ensure_ascii=False, sort_keys=True)
    return hashlib.sha256(text.encode()).hexdigest()[:ID_FIGURES]
