"""What renewal theory expects: services on the meter, and services on mornings.

Used beside the simulation, which must agree with it. Sources: renewal function and elementary
renewal theorem as in Ross, Introduction to Probability Models (the theorem from memory).
"""

import math
from collections.abc import Callable, Sequence

import numpy as np
from scipy import special

from greaseroute.forecast.calendar import Calendar
from greaseroute.forecast.joints import FloatArray, JointRows
from greaseroute.forecast.mornings import Clockwork
from greaseroute.plan.week import DayHours


def _reached(hours: DayHours, need_h: float, *, rate: float) -> Callable[[int], float]:
    """Chance that ``days`` worked days use up ``need_h`` of an interval."""

    def chance(days: int) -> float:
        if need_h <= 1e-9:
            return 1.0
        if days == 0 or hours.mean_h <= 0 or math.isinf(need_h):
            return 0.0
        if hours.sd_h <= 0:
            return float(days * hours.mean_h * rate >= need_h - 1e-9)
        shape = days * (hours.mean_h / hours.sd_h) ** 2
        scale_h = hours.sd_h**2 / hours.mean_h
        return float(special.gammaincc(shape, max(0.0, need_h / rate / scale_h)))

    return chance


def _days_due(
    calendar: Calendar, start: int, *, days: float, limit: float, ahead: bool
) -> FloatArray:
    """(mornings,) True where the limit in days is met, counted from morning ``start``."""
    steps = np.array(calendar.step_days, dtype=np.float64)
    passed = np.concatenate([[0.0], np.cumsum(steps[start:])])[:-1] + days
    due = np.zeros(len(calendar), dtype=np.bool_)
    look = steps[start:] if ahead else np.zeros(len(passed))
    left = limit - passed
    due[start:] = (left <= 1e-9) | (left < look - 1e-9)
    return np.asarray(due, dtype=np.bool_)


def _first_due(reached: FloatArray) -> FloatArray:
    """Chance that each morning is the first due, from the chance of being due by it."""
    return np.diff(np.concatenate([[0.0], np.maximum.accumulate(reached)]))


def expected_on_mornings(
    rows: JointRows,
    calendar: Calendar,
    *,
    row: int,
    hours: DayHours,
    rate: float = 1.0,
    ahead_h: float,
) -> FloatArray:
    """(mornings,) chance that joint ``row`` is greased on each morning, exactly.

    A joint greased begins again, so mornings are a renewal process: the chance of a service on
    morning b is that of the first one falling on b, plus, over every earlier morning a, that of
    a service on a times that of the next one then falling on b. Hours of n days are gamma again.
    ``rate`` must hold for the whole span; the days limit counts at the same rate only if it is 1.
    """
    days = len(calendar)
    if rows.every_shift[row]:
        chances = np.ones(days)
        chances[0] = (
            0.0
            if rows.greased_today[row] and not _owed_now(rows, calendar, row=row, ahead_h=ahead_h)
            else 1.0
        )
        return chances
    limit = float(rows.limit_h[row]) - ahead_h

    def first_from(start: int, used_h: float, used_days: float, *, after: bool) -> FloatArray:
        by_hours = _reached(hours, limit - used_h, rate=rate)
        reached = np.array([by_hours(b - start) if b >= start else 0.0 for b in range(days)])
        by_days = _days_due(
            calendar, start, days=used_days, limit=float(rows.limit_days[row]), ahead=ahead_h > 0
        )
        reached = np.where(by_days, 1.0, reached)
        reached[: start + after] = 0.0  # greased on that morning: not again before the next
        return _first_due(reached)

    unknown = math.isinf(rows.since_days[row])
    if unknown:
        total = np.eye(days)[0]
    else:
        used = float(rows.since_h[row]), float(rows.since_days[row])
        total = first_from(0, *used, after=False)
    for a in range(days):
        total += total[a] * first_from(a, 0.0, 0.0, after=True)
    return np.asarray(total, dtype=np.float64)


def _owed_now(rows: JointRows, calendar: Calendar, *, row: int, ahead_h: float) -> bool:
    """Whether a joint's other limits make it due on the first morning."""
    clockwork = Clockwork.start(rows, calendar, ahead_h=ahead_h, weeks=1)
    return bool(clockwork.owed(0)[0, row])


def expected_services(
    rows: JointRows, calendar: Calendar, *, day_hours: Sequence[DayHours], ahead_h: float
) -> FloatArray:
    """(N,) expected services of each joint over the mornings, by `expected_on_mornings`."""
    known: dict[tuple[float, ...], float] = {}  # joints greased together share their course
    found = []
    for i in range(len(rows)):
        key = (
            float(rows.unit[i]),
            float(rows.limit_h[i]),
            float(rows.limit_days[i]),
            float(rows.since_h[i]),
            float(rows.since_days[i]),
            float(rows.every_shift[i]),
        )
        if key not in known:
            hours = day_hours[int(rows.unit[i])]
            chances = expected_on_mornings(rows, calendar, row=i, hours=hours, ahead_h=ahead_h)
            known[key] = float(chances.sum())
        found.append(known[key])
    return np.array(found)
