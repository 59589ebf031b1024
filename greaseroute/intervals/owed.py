"""Whether one joint is owed at a moment, and the sentence that says why."""

from dataclasses import dataclass
from typing import Literal

from greaseroute.intervals.interval import OwnInterval, days_text
from greaseroute.intervals.meter import RanBack

Owed = Literal["due", "ahead", "not due"]
NEVER_RECORDED = "never recorded"
ORDER: dict[Owed, int] = {"due": 2, "ahead": 1, "not due": 0}


@dataclass(frozen=True, slots=True)
class Since:
    """What passed since the last service: hours (or the meter's fall) and calendar days.

    ``told`` says of the hours what no meter shows: reckoned from hours per day.
    """

    hours_h: float | RanBack
    days: float
    told: str = ""


@dataclass(frozen=True, slots=True)
class LookAhead:
    """What will pass before the next round: hours on the meter and calendar days."""

    hours_h: float
    days: float


@dataclass(frozen=True, slots=True)
class Judgement:
    """The verdict on one joint; ``ratio`` is the used share of the interval, 1.0 = just due."""

    status: Owed
    reason: str
    left_h: float | None = None
    overdue_h: float = 0.0
    overdue_days: float = 0.0
    ratio: float = 1.0


def _h(value: float) -> str:
    return f"{round(value, 1):g} h"


def _span(value: float, *, in_hours: bool) -> str:
    return _h(value) if in_hours else days_text(round(value, 1))


@dataclass(frozen=True, slots=True)
class _Limit:
    """One of the limits of an interval, in hours or in days, and how much of it is used."""

    in_hours: bool
    since: float
    every: float
    ahead: float
    told: str = ""

    @property
    def left(self) -> float:
        return self.every - self.since

    @property
    def ratio(self) -> float:
        return self.since / self.every

    @property
    def due(self) -> bool:
        return self.left <= 1e-9

    @property
    def falls_due(self) -> bool:
        """Before the next round: hours run continuously, whole days fall due at a round."""
        return self.left <= self.ahead + 1e-9 if self.in_hours else self.left < self.ahead - 1e-9

    def since_text(self, own: OwnInterval) -> str:
        since = _span(self.since, in_hours=self.in_hours)
        short = f" (shortened for {own.severity})" if own.severity else ""
        every = _span(self.every, in_hours=self.in_hours)
        told = f" ({self.told})" if self.told else ""
        return f"{since} since last greasing{told}, every {every}{short}"


def _limits(own: OwnInterval, since: Since, ahead: LookAhead) -> list[_Limit]:
    found = []
    if own.hours_h is not None and not isinstance(since.hours_h, RanBack):
        ahead_h = ahead.hours_h if ahead.hours_h > 0 else -1.0  # -1: nothing falls due ahead
        found.append(_Limit(True, since.hours_h, own.hours_h, ahead_h, since.told))
    if own.days is not None:
        found.append(_Limit(False, since.days, own.days, ahead.days))
    return found


ASSUMED_DAYS = 7.0
"""A joint without any record is weighed as if it was last greased so many days ago: what is wanted
every 10 h then comes before what is wanted every 500 h. A choice made here, said to people."""


def never_recorded(own: OwnInterval, *, hours_per_day: float) -> Judgement:
    """A joint whose last service nobody wrote down: due, since nothing shows that it is not.

    Its ratio is what `ASSUMED_DAYS` days at ``hours_per_day`` use of its interval.
    """
    used = [1.0] if own.every_shift else []
    if own.hours_h is not None:
        used.append(ASSUMED_DAYS * hours_per_day / own.hours_h)
    if own.days is not None:
        used.append(ASSUMED_DAYS / own.days)
    return Judgement("due", NEVER_RECORDED, ratio=max(used))


def _ran_back(fall: RanBack) -> Judgement:
    before, after = fall.before.meter_h, fall.after.meter_h
    if fall.after.new_meter:
        return Judgement(
            "due", f"meter replaced at {before:g} h, hours before that unknown: treated as due"
        )
    return Judgement("due", f"meter ran back from {before:g} h to {after:g} h: treated as due")


def _every_shift(since: Since) -> Judgement | None:
    """Every shift means once before each shift; a second round on the same day owes nothing."""
    if since.days < 1:
        return None
    return Judgement("due", "every shift", ratio=1.0)


def _by_limit(limit: _Limit, own: OwnInterval, *, left_h: float | None) -> Judgement:
    text = limit.since_text(own)
    if limit.due:
        over = max(0.0, -limit.left)
        tail = "due now" if over < 0.05 else f"{_span(over, in_hours=limit.in_hours)} over"
        over_h, over_days = (over, 0.0) if limit.in_hours else (0.0, over)
        return Judgement("due", f"{text}: {tail}", left_h, over_h, over_days, limit.ratio)
    left = _span(limit.left, in_hours=limit.in_hours)
    if limit.falls_due:
        reason = f"falls due in {left}, before the next round"
        return Judgement("ahead", reason, left_h, ratio=limit.ratio)
    return Judgement("not due", f"{text}: {left} left", left_h, ratio=limit.ratio)


def judge(own: OwnInterval, since: Since, *, ahead: LookAhead) -> Judgement:
    """The verdict for a joint last greased ``since`` ago: whichever limit is used up furthest.

    A meter that ran back makes a joint with an hours limit due: the hours are unknown and are
    not guessed. ``overdue_h`` counts hours over the hours limit; a joint over in days has none.
    """
    if own.hours_h is not None and isinstance(since.hours_h, RanBack):
        return _ran_back(since.hours_h)
    limits = _limits(own, since, ahead)
    left_h = next((limit.left for limit in limits if limit.in_hours), None)
    verdicts = [_by_limit(limit, own, left_h=left_h) for limit in limits]
    if own.every_shift:
        shift = _every_shift(since)
        if shift is not None:
            verdicts.insert(0, shift)
        elif not verdicts:
            return Judgement("not due", "every shift: done today already", ratio=0.0)
    return max(verdicts, key=lambda verdict: (ORDER[verdict.status], verdict.ratio))
