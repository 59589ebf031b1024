"""The span of one round: its zero, its end, and when each unit stands."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, time, timedelta
from zoneinfo import ZoneInfo

from greaseroute.site.crew import Technician
from greaseroute.site.fleet import Unit
from greaseroute.site.ground_plan import Area, Hours
from greaseroute.site.model import Site
from greaseroute.site.moment import in_zone, next_time, parked_window, shift_start, time_of_day
from greaseroute.site.work_days import EVERY_DAY, WorkDays

DAY = timedelta(days=1)


@dataclass(frozen=True, slots=True)
class Morning:
    """From the moment planned for until the operators start; milliseconds count from ``zero``."""

    zero: datetime
    end: datetime

    @property
    def end_ms(self) -> int:
        """The end, in ms from zero."""
        return self.ms(self.end)

    def ms(self, moment: datetime) -> int:
        """Milliseconds from zero to a moment, whatever the clocks do between."""
        gap = moment.astimezone(UTC) - self.zero.astimezone(UTC)
        return round(gap / timedelta(milliseconds=1))

    def moment(self, ms: int) -> datetime:
        """The moment ``ms`` after zero, on the site's clock."""
        utc = self.zero.astimezone(UTC) + timedelta(milliseconds=ms)
        return utc.astimezone(self.zero.tzinfo)

    def text(self, ms: int) -> str:
        """The moment ``ms`` after zero as ISO 8601 with offset, to the ms if need be."""
        moment = self.moment(ms)
        return moment.isoformat(timespec="milliseconds" if moment.microsecond else "seconds")


def next_round_start(
    now: datetime, *, round_start: str, work_days: WorkDays = EVERY_DAY
) -> datetime:
    """The first ``HH:MM`` of a working day at or after ``now``, in the zone of ``now``."""
    hour, minute = (int(part) for part in round_start.split(":"))
    start = datetime.combine(now.date(), time(hour, minute), now.tzinfo)
    if start < now:
        start = datetime.combine(now.date() + timedelta(days=1), time(hour, minute), now.tzinfo)
    if not work_days.works(start.date()):
        day = work_days.next_after(start.date())
        start = datetime.combine(day, time(hour, minute), now.tzinfo)
    return start


def moment_for(site: Site, at: datetime | None, *, now: datetime | None = None) -> datetime:
    """The moment planned for, in the zone of the site.

    ``at`` wins; without it the site's ``planned_for``; without that the next ``round_start`` after
    ``now`` (the clock, unless given).
    """
    zone = ZoneInfo(site.time_zone)
    chosen = at if at is not None else site.planned_for
    if chosen is None:
        clock = (now or datetime.now(UTC)).astimezone(zone)
        return next_round_start(clock, round_start=site.round_start, work_days=site.work_days)
    return in_zone(chosen, zone)


def morning_of(site: Site, at: datetime, *, finish_by: datetime | None = None) -> Morning:
    """The span that begins at ``at`` and ends at ``finish_by``, else at the next shift start."""
    zone = ZoneInfo(site.time_zone)
    zero = in_zone(at, zone)
    return Morning(zero, finish_by or shift_start(site.shift_start, zero))


def unit_window(unit: Unit, morning: Morning) -> tuple[int, int]:
    """When work at a unit may begin and must end: while it stands, inside the morning."""
    begin, end = parked_window(unit, morning.zero)
    first = 0 if begin is None else max(0, morning.ms(begin))
    last = morning.end_ms if end is None else min(morning.end_ms, morning.ms(end))
    return first, last


def start_of(technician: Technician, morning: Morning) -> int:
    """When a technician sets off: at zero, or at the own clock time if that is later."""
    if technician.starts_at is None:
        return 0
    clock = time_of_day(technician.starts_at)
    today = datetime.combine(morning.zero.date(), clock, tzinfo=morning.zero.tzinfo)
    if today + timedelta(hours=12) < morning.zero:  # a clock time after midnight, seen before it
        today = next_time(clock, morning.zero)
    return max(0, morning.ms(today))


def clock_span(begin: str, end: str, morning: Morning) -> tuple[int, int] | None:
    """The part of the morning between two times of day ``HH:MM``; None where they miss it.

    Hours that end at or before their begin run over midnight. Of hours that begin on the day of
    zero, on the day before, or on the day after, the first to meet the morning.
    """
    for day in (timedelta(0), -DAY, DAY):
        first, last = (_clock_ms(clock, morning, day=day) for clock in (begin, end))
        if last <= first:
            last = _clock_ms(end, morning, day=day + DAY)
        if max(0, first) < min(last, morning.end_ms):
            return max(0, first), min(last, morning.end_ms)
    return None


def _clock_ms(text: str, morning: Morning, *, day: timedelta) -> int:
    """A time of day, ``day`` from the date of zero, in ms from zero."""
    date = (morning.zero + day).date()
    return morning.ms(datetime.combine(date, time_of_day(text), tzinfo=morning.zero.tzinfo))


def changes(areas: Sequence[Area], morning: Morning) -> list[int]:
    """Moments inside the morning at which an area opens or closes, ms from zero, ascending."""
    edges = {edge for area in areas for hours in area.hours for edge in _edges(hours, morning)}
    return sorted(edge for edge in edges if 0 < edge < morning.end_ms)


def _edges(hours: Hours, morning: Morning) -> list[int]:
    first = morning.zero - DAY
    days = (morning.end - morning.zero).days + 3
    dates = [(first + k * DAY).date() for k in range(days)]
    zone = morning.zero.tzinfo
    return [
        morning.ms(datetime.combine(date, clock, tzinfo=zone))
        for date in dates
        for clock in (hours.start, hours.end)
    ]
