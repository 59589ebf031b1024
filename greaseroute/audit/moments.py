"""Moments of a morning in milliseconds from its zero, worked out from the site's own texts."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, time, timedelta
from zoneinfo import ZoneInfo

from greaseroute.site.crew import Technician
from greaseroute.site.fleet import Unit
from greaseroute.site.ground_plan import Hours

Span = tuple[int, int]
DAY = timedelta(days=1)
MILLISECOND = timedelta(milliseconds=1)


@dataclass(frozen=True, slots=True)
class Clock:
    """The clock of one morning: milliseconds count from ``zero``, a moment in the site's zone."""

    zero: datetime
    zone: ZoneInfo

    def ms(self, moment: datetime) -> int:
        """Milliseconds from zero to a moment; whatever the wall clock does between."""
        gap = moment.astimezone(UTC) - self.zero.astimezone(UTC)
        return round(gap / MILLISECOND)

    def of_text(self, text: str) -> int:
        """The same from ISO 8601 with an offset. Raises ValueError for any other text."""
        moment = datetime.fromisoformat(text)
        if moment.tzinfo is None:
            raise ValueError(f"{text!r} is without an offset")
        return self.ms(moment)

    def text(self, ms: float) -> str:
        """ISO 8601 of a moment, to the second."""
        moment = self.zero.astimezone(UTC) + timedelta(milliseconds=ms)
        return moment.astimezone(self.zone).isoformat(timespec="seconds")

    def on_day(self, clock: time, day: int) -> datetime:
        """A time of day, so many days from the date of zero."""
        date = self.zero.astimezone(self.zone).date() + day * DAY
        return datetime.combine(date, clock, tzinfo=self.zone)

    def next(self, clock: time, *, after: datetime) -> datetime:
        """The first moment after ``after`` at which the wall clock shows ``clock``."""
        days = (after.astimezone(self.zone).date() - self.zero.astimezone(self.zone).date()).days
        found = (self.on_day(clock, days + k) for k in range(3))
        return next(moment for moment in found if self.ms(moment) > self.ms(after))

    def daily(self, hours: Hours, *, until: int) -> Iterator[Span]:
        """Every stretch of a daily span that begins before ``until`` ms and ends after zero."""
        for day in range(-2, until // (24 * 3_600_000) + 3):
            begin = self.ms(self.on_day(hours.start, day))
            over_midnight = hours.end <= hours.start
            end = self.ms(self.on_day(hours.end, day + 1 if over_midnight else day))
            if begin < until and end > 0:
                yield begin, end


def joined(spans: Iterable[Span]) -> tuple[Span, ...]:
    """Spans in order, those that touch or overlap made one."""
    found: list[Span] = []
    for begin, end in sorted(spans):
        if found and begin <= found[-1][1]:
            found[-1] = found[-1][0], max(found[-1][1], end)
        else:
            found.append((begin, end))
    return tuple(found)


def clock_time(text: str) -> time:
    """``HH:MM`` as a time of day."""
    return time.fromisoformat(text)


def shift_begins(clock: Clock, shift_start: str) -> datetime:
    """When the operators come: the first ``shift_start`` after zero."""
    return clock.next(clock_time(shift_start), after=clock.zero)


def unit_stands(unit: Unit, clock: Clock) -> tuple[int | None, int | None]:
    """When a unit comes and goes, ms from zero; None where its list leaves that open.

    A time of day means the one within twelve hours of zero; a daily window that would end before
    it begins has begun the day before.
    """
    come, go = (
        _stated(moment, daily, clock)
        for moment, daily in (
            (unit.parked_from, unit.parked_from_clock),
            (unit.parked_to, unit.parked_to_clock),
        )
    )
    daily_both = come is not None and go is not None and unit.parked_from is None
    if daily_both and clock.ms(come) > clock.ms(go):  # type: ignore[arg-type]
        assert come is not None
        come = datetime.combine(come.date() - DAY, come.time(), tzinfo=come.tzinfo)
    return (None if come is None else clock.ms(come)), (None if go is None else clock.ms(go))


def _stated(moment: datetime | None, daily: time | None, clock: Clock) -> datetime | None:
    if moment is not None or daily is None:
        return moment
    around = (clock.on_day(daily, day) for day in (-1, 0, 1))
    half_day = 12 * 3_600_000
    return next(m for m in around if -half_day <= clock.ms(m) <= half_day)


def sets_off(technician: Technician, clock: Clock) -> int:
    """When a technician may set off: at zero, or at the own time of day where that is later."""
    if technician.starts_at is None:
        return 0
    own = clock.on_day(clock_time(technician.starts_at), 0)
    if clock.ms(own) < -12 * 3_600_000:  # a time after midnight, seen from the evening before
        own = clock.on_day(clock_time(technician.starts_at), 1)
    return max(0, clock.ms(own))
