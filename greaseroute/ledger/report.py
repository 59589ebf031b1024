"""What one card tells, whole, and what of it is news to the ledger."""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from greaseroute.ledger.event_json import named_by_content, plain
from greaseroute.ledger.events import Correction, Event, Happened
from greaseroute.ledger.store import Ledger

Key = tuple[str, str | None, str | None, str | None, str | None]

ABOUT_A_FITTING = {
    "greased": "pump",
    "could_not": "pump",
    "defect": "defect",
    "uptake": "uptake",
    "cartridge_fitted": "cartridge",
    "check": "check",
    "meter_read": "meter",
}
"""Kinds of which a card tells the present state, so that a later export replaces an earlier one."""

NOT_STATE = {"id", "at", "told_at", "device", "source", "corrects"}


@dataclass(frozen=True, slots=True)
class Report:
    """The state of a card when it was exported: all that is ticked on it, nothing else is.

    ``technicians`` are those whose walks it tells; ``device`` is the phone, None where the card
    did not say. ``site`` is None where the form of the report does not name it.
    """

    source: str
    plan: str
    site: str | None
    planned_for: datetime
    told_at: datetime
    device: str | None
    technicians: frozenset[str]
    events: tuple[Event, ...]


@dataclass(frozen=True, slots=True)
class News:
    """What a report adds to the ledger.

    ``same`` events are booked already, ``replaced`` take the place of an earlier state,
    ``withdrawn`` were ticked on an earlier export and are not any more, ``older`` are left out
    since a later export is booked.
    """

    events: tuple[Event, ...] = ()
    new: int = 0
    same: int = 0
    replaced: int = 0
    withdrawn: int = 0
    older: int = 0


@dataclass(slots=True)
class _Sorting:
    """The counts of `News` while they grow."""

    events: list[Event] = field(default_factory=list)
    new: int = 0
    same: int = 0
    replaced: int = 0
    older: int = 0


def key_of(event: Event) -> Key | None:
    """What a card has one state of: a fitting, a check, a meter; None for other kinds."""
    group = ABOUT_A_FITTING.get(event.kind)
    if group is None:
        return None
    names = (getattr(event, name, None) for name in ("unit", "joint", "fitting", "check"))
    unit, joint, fitting, check = names
    return group, unit, joint, fitting, check


def state_of(event: Happened) -> dict[str, object]:
    """What an event says apart from when and how it was told."""
    return {n: v for n, v in plain(event).items() if n not in NOT_STATE and v not in ("", None)}


def news_of(report: Report, ledger: Ledger) -> News:
    """What of a report is to be booked, given what the ledger holds of its plan.

    A card's later export wins: what changed corrects the earlier event, what is no longer
    ticked on the same phone is withdrawn. An earlier export that comes later changes nothing.
    """
    booked = {key_of(e): e for e in ledger.events(plan=report.plan) if key_of(e) is not None}
    sorting = _Sorting()
    for event in report.events:
        _sort_in(event, booked.get(key_of(event)), sorting, ledger=ledger)
    withdrawn = list(_withdrawn(report, booked))
    return News(
        events=(*sorting.events, *withdrawn),
        new=sorting.new,
        same=sorting.same,
        replaced=sorting.replaced,
        withdrawn=len(withdrawn),
        older=sorting.older,
    )


def _sort_in(event: Event, now: Event | None, sorting: _Sorting, *, ledger: Ledger) -> None:
    """Put one event of a report where it belongs."""
    if now is None:
        sorting.events.append(_with_free_id(event, ledger, in_place_of=None))
        sorting.new += 1
    elif state_of(event) == state_of(now):
        sorting.same += 1
    elif now.told_at is not None and event.told_at is not None and event.told_at <= now.told_at:
        sorting.older += 1
    else:
        sorting.events.append(_with_free_id(event, ledger, in_place_of=now.id))
        sorting.replaced += 1


def _with_free_id(event: Event, ledger: Ledger, *, in_place_of: str | None) -> Event:
    """The event correcting another; with an id of its own where its own is taken.

    A tick set, changed and set again has the first id, which is booked and corrected by then.
    """
    event = event.model_copy(update={"corrects": in_place_of})
    while ledger.has(event.id):
        event = event.model_copy(update={"id": named_by_content({**plain(event), "was": event.id})})
    return event


def _withdrawn(report: Report, booked: Mapping[Key | None, Event]) -> Iterator[Event]:
    """Corrections of what this phone told of these walks before and tells no longer."""
    told = {key_of(event) for event in report.events}
    for key, event in booked.items():
        mine = event.device == report.device
        walk = event.technician is None or event.technician in report.technicians
        earlier = event.told_at is not None and event.told_at < report.told_at
        if mine and walk and earlier and key not in told:
            values: dict[str, Any] = {
                "at": report.told_at,
                "corrects": event.id,
                "plan": report.plan,
                "words": "no longer ticked on a later export of the card",
                "source": report.source,
            }
            yield Correction(id=named_by_content({"withdrawn": event.id}), **values)


def counted(events: Iterable[Event]) -> dict[str, int]:
    """How many events of each kind."""
    counts: dict[str, int] = {}
    for event in events:
        counts[event.kind] = counts.get(event.kind, 0) + 1
    return counts
