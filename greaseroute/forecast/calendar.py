"""On which of the days ahead there is a round."""

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from itertools import pairwise

from greaseroute.errors import UnfitProblem
from greaseroute.site.work_days import EVERY_DAY, LONGEST_DAYS, WorkDays


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

    @property
    def after(self) -> datetime:
        """The morning after the last one."""
        return self.mornings[-1] + timedelta(days=self.step_days[-1])


def plan_calendar(at: datetime, mornings: int, *, work_days: WorkDays = EVERY_DAY) -> Calendar:
    """``mornings`` working mornings from ``at`` on, at its time of day.

    A first day that is off is passed over. An hour that the night of a clock change leaves out
    is an hour later.

    Raises
    ------
    UnfitProblem
        No morning asked for, or days off and holidays leave too few.
    """
    found: list[datetime] = []
    day, idle = at, 0
    while len(found) < mornings + 1 and idle < LONGEST_DAYS:
        works = work_days.works(day.date())
        if works:
            found.append(_on_the_clock(day))
        idle = 0 if works else idle + 1
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


def _on_the_clock(moment: datetime) -> datetime:
    """The moment as a clock shows it, where the hour it names does not exist."""
    return moment.astimezone(UTC).astimezone(moment.tzinfo)
