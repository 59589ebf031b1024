"""Which zones and crossings are closed at a time of day."""

from collections.abc import Iterable
from datetime import datetime, timedelta

from greaseroute.site.ground_plan import Area, Hours

Span = tuple[datetime, datetime]


def overlaps(hours: Hours, span: Span) -> bool:
    """Whether a daily span of local time and [from, to) have a moment in common.

    ``from`` = ``to`` asks about that one moment. Both count as local wall-clock time.
    """
    begin, end = (moment.replace(tzinfo=None) for moment in span)
    day = begin.date() - timedelta(days=1)
    while day <= end.date():
        closes = datetime.combine(day, hours.start)
        opens = datetime.combine(day, hours.end)
        if opens <= closes:
            opens += timedelta(days=1)
        if closes < max(end, begin + timedelta(microseconds=1)) and begin < opens:
            return True
        day += timedelta(days=1)
    return False


def is_shut(area: Area, span: Span | None) -> bool:
    """Whether an area's hours have it shut at any moment of a span (None: of any day)."""
    if span is None:
        return bool(area.hours)
    return any(overlaps(h, span) for h in area.hours)


def shut_zones(zones: Iterable[Area], span: Span | None) -> list[Area]:
    """No-go zones closed in a span: those without hours always."""
    return [z for z in zones if not z.hours or is_shut(z, span)]


def open_crossings(crossings: Iterable[Area], span: Span | None) -> list[Area]:
    """Crossings open during the whole of a span: those without hours always."""
    return [c for c in crossings if not is_shut(c, span)]
