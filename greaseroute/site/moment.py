"""Moments: texts to times in the site's zone, the shift's start, the windows of parked units."""

import re
from datetime import UTC, date, datetime, time, timedelta, tzinfo
from zoneinfo import ZoneInfo

from greaseroute.errors import UnknownName
from greaseroute.records import FIRST_YEAR, LAST_YEAR
from greaseroute.site.fleet import Unit
from greaseroute.site.ground_plan import Hours

MOMENT = "a local date and time such as 2026-11-25T05:00"
SHORT_CLOCK = re.compile(r"\d:\d\d(:|$)")
DOTTED_DATE = re.compile(r"(\d{1,2})\.(\d{1,2})\.(\d{4})(?:[ T]+(\S+))?")

HALF_DAY = timedelta(hours=12)
DAY = timedelta(days=1)


def zone(name: str) -> ZoneInfo:
    """The time zone called ``name`` (IANA); raises UnknownName."""
    try:
        return ZoneInfo(name)
    except (KeyError, ValueError, OSError) as error:
        raise UnknownName(
            "time_zone", name, limit="an IANA zone such as 'Europe/Berlin'", next_step="correct it"
        ) from error


def time_of_day(text: str) -> time:
    """``HH:MM`` (or ``HH:MM:SS``) as a time; raises ValueError with plain words.

    >>> time_of_day("05:30")
    datetime.time(5, 30)
    """
    text = text.strip()
    try:
        parsed = time.fromisoformat(f"0{text}" if SHORT_CLOCK.match(text) else text)
    except ValueError:
        parsed = None
    if parsed is None or parsed.tzinfo is not None or ":" not in text:
        raise ValueError("a time of day HH:MM, 00:00 to 23:59")
    return parsed


def hours_span(text: str) -> Hours:
    """``HH:MM-HH:MM`` as a daily span; ``24:00`` is midnight; raises ValueError."""
    start, dash, end = text.replace("–", "-").partition("-")
    try:
        if not dash:
            raise ValueError
        span = Hours(time_of_day(start), time_of_day("00:00" if end.strip() == "24:00" else end))
    except ValueError:
        raise ValueError("a span of local time such as 12:00-12:30") from None
    if span.start == span.end:
        raise ValueError("a span of local time whose end differs from its start")
    return span


def in_zone(at: datetime, where: tzinfo) -> datetime:
    """A moment in a zone: local there where it has no offset, else turned into it."""
    return at.replace(tzinfo=where) if at.tzinfo is None else at.astimezone(where)


def moment(text: str, where: tzinfo) -> datetime:
    """A date and time as a moment in zone ``where``; one without offset is local there.

    Raises ValueError with plain words; see `date_and_time` for what is read.
    """
    return in_zone(date_and_time(text), where)


def date_and_time(text: str) -> datetime:
    """A date and time, with an offset where one is written.

    Raises ValueError with plain words. A date alone means its midnight. ``25.11.2026 5:00`` is
    read as well: a day that is followed by a point cannot be taken for a month.
    """
    try:
        parsed = _dotted(text.strip()) or datetime.fromisoformat(text.strip())
    except ValueError:
        raise ValueError(MOMENT) from None
    if not FIRST_YEAR <= parsed.year <= LAST_YEAR:
        raise ValueError(f"{MOMENT}, from {FIRST_YEAR} to {LAST_YEAR}")
    return parsed


def _dotted(text: str) -> datetime | None:
    """A moment written as ``25.11.2026`` with or without a time of day. Raises ValueError."""
    match = DOTTED_DATE.fullmatch(text)
    if match is None:
        return None
    day, month, year, clock = match.groups()
    return datetime.combine(
        date(int(year), int(month), int(day)), time_of_day(clock) if clock else time()
    )


def next_time(clock: time, after: datetime) -> datetime:
    """The first moment at or after ``after`` at which the local clock shows ``clock``."""
    candidate = datetime.combine(after.date(), clock, tzinfo=after.tzinfo)
    if candidate < after:
        candidate = datetime.combine(after.date() + DAY, clock, tzinfo=after.tzinfo)
    return candidate


def shift_start(clock: str, at: datetime) -> datetime:
    """The first moment after ``at`` at which the shift starts, at the time of day ``clock``."""
    return next_time(time_of_day(clock), at + timedelta(seconds=1))


def parked_window(unit: Unit, at: datetime) -> tuple[datetime | None, datetime | None]:
    """When ``unit`` stands around the moment ``at``: (from, to), None where open.

    A clock time (``parked_from_clock``) means the one within twelve hours of ``at``; a window
    that would end before it begins has begun the day before.
    """
    begin = unit.parked_from or _nearest(unit.parked_from_clock, at)
    end = unit.parked_to or _nearest(unit.parked_to_clock, at)
    if begin and end and begin > end and unit.parked_from is None:
        begin = _shift_days(begin, -1)
    return begin, end


def _nearest(clock: time | None, at: datetime) -> datetime | None:
    """The moment with that clock time in [at - 12 h, at + 12 h), or None."""
    if clock is None:
        return None
    return next_time(clock, (at.astimezone(UTC) - HALF_DAY).astimezone(at.tzinfo))


def _shift_days(moment_: datetime, days: int) -> datetime:
    """The same clock time some days on, whatever the length of the days between."""
    return datetime.combine(
        moment_.date() + timedelta(days=days), moment_.time(), tzinfo=moment_.tzinfo
    )
