"""Which of the days ahead are worked, and on which of them there is a round."""

from collections.abc import Collection
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from itertools import pairwise

from greaseroute.errors import UnfitProblem

WEEKDAYS = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
LONGEST_DAYS = 400


@dataclass(frozen=True, slots=True)
class Calendar:
    """Days from the first morning on. ``worked`` and ``step_days`` hold one entry a morning.

    ``mornings`` are the moments of the rounds, all on working days; ``step_days[d]`` are the
    calendar days from morning d to the next one, one of them worked.
    """

    mornings: tuple[datetime, ...]
    step_days: tuple[int, ...]

    def __len__(self) -> int:
        return len(self.mornings)


def _works(day: date, days_off: Collection[str], holidays: Collection[date]) -> bool:
    return WEEKDAYS[day.weekday()] not in days_off and day not in holidays


def plan_calendar(
    at: datetime,
    mornings: int,
    *,
    days_off: Collection[str] = (),
    holidays: Collection[date] = (),
) -> Calendar:
    """``mornings`` working mornings from ``at`` on, at its time of day.

    ``days_off`` are weekdays as in `WEEKDAYS`. A first day that is off is passed over.

    Raises
    ------
    UnfitProblem
        No morning asked for, or days off and holidays leave too few within 400 days.
    """
    found: list[datetime] = []
    day = at
    while len(found) < mornings + 1 and (day - at).days < LONGEST_DAYS:
        if _works(day.date(), days_off, holidays):
            found.append(day)
        day += timedelta(days=1)
    if mornings < 1 or len(found) <= mornings:
        raise UnfitProblem(
            "calendar",
            f"{mornings} mornings",
            limit=f"1 or more, and working days among {LONGEST_DAYS}",
            next_step="give fewer days off",
        )
    steps = tuple((b.date() - a.date()).days for a, b in pairwise(found))
    return Calendar(tuple(found[:mornings]), steps)
