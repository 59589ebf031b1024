"""Which days of a site are worked: weekdays off and holidays."""

from collections.abc import Collection
from dataclasses import dataclass
from datetime import date, timedelta
from functools import cached_property

WEEKDAYS = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
LONGEST_DAYS = 400  # a stretch without a working day beyond which none is looked for


@dataclass(frozen=True)
class WorkDays:
    """``days_off`` are weekdays as in `WEEKDAYS`; ``holidays`` are dates."""

    days_off: tuple[str, ...] = ()
    holidays: tuple[date, ...] = ()

    def works(self, day: date) -> bool:
        """Whether machines work on a day."""
        return WEEKDAYS[day.weekday()] not in self.days_off and day not in self._holidays

    def next_after(self, day: date) -> date:
        """The first working day after a day; the day after it where there is none in 400."""
        days = (day + timedelta(days=k) for k in range(1, LONGEST_DAYS))
        return next((d for d in days if self.works(d)), day + timedelta(days=1))

    def before(self, day: date) -> int:
        """Working days before a day, from the first day of the calendar on."""
        whole, rest = divmod(day.toordinal() - 1, 7)  # day 1 of the calendar is a Monday
        on = [name not in self.days_off for name in WEEKDAYS]
        taken = sum(h < day for h in self._holidays)
        return whole * sum(on) + sum(on[:rest]) - taken

    @cached_property
    def _holidays(self) -> frozenset[date]:
        """Holidays that are no days off anyway."""
        off = {k for k, name in enumerate(WEEKDAYS) if name in self.days_off}
        return frozenset(day for day in self.holidays if day.weekday() not in off)


EVERY_DAY = WorkDays()


def weekdays_of(names: Collection[str]) -> tuple[str, ...]:
    """Weekdays by their first three letters, in the order of the week.

    Raises ValueError with what is allowed.
    """
    found = [name.strip().lower()[:3] for name in names]
    for name in found:
        if name not in WEEKDAYS:
            raise ValueError(f"weekdays: {', '.join(WEEKDAYS)}")
    if len(set(found)) == len(WEEKDAYS):
        raise ValueError("fewer than seven weekdays: somebody has to work on one")
    return tuple(name for name in WEEKDAYS if name in found)
