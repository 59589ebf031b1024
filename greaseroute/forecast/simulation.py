"""Thousands of weeks drawn at once: services, strokes, grams and cartridges, morning by morning."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from greaseroute.forecast.calendar import Calendar
from greaseroute.forecast.joints import FloatArray, JointRows
from greaseroute.forecast.mornings import BoolArray, Clockwork
from greaseroute.plan.week import DayHours

LEAST_WEEKS = 2_000


@dataclass(frozen=True, slots=True, eq=False)
class Weeks:
    """W weeks of D mornings. ``services`` (W, D) counts joints greased; ``grams``, ``cartridges``
    and ``strokes`` are (W, D, G) for the greases in ``greases``; ``joint_services`` (N,) is the
    mean number of services of each joint in a week."""

    greases: tuple[str, ...]
    services: FloatArray
    strokes: FloatArray
    grams: FloatArray
    cartridges: FloatArray
    joint_services: FloatArray


def draw_hours(
    day_hours: Sequence[DayHours], *, weeks: int, days: int, rng: np.random.Generator
) -> FloatArray:
    """Hours (weeks, units, days): gamma with each unit's mean and spread; exact where it has none.

    Days are independent. A unit that does not work has mean 0 and stays at 0.
    """
    mean = np.array([hours.mean_h for hours in day_hours])
    sd = np.array([hours.sd_h for hours in day_hours])
    drawn = np.broadcast_to(mean[:, None], (weeks, len(mean), days)).copy()
    varied = np.flatnonzero((sd > 0) & (mean > 0))
    shape, scale = (mean[varied] / sd[varied]) ** 2, sd[varied] ** 2 / mean[varied]
    size = (weeks, days, len(varied))
    drawn[:, varied, :] = rng.gamma(shape, scale, size=size).transpose(0, 2, 1)
    return drawn


def _per_service(rows: JointRows, greases: Sequence[str]) -> FloatArray:
    """(N, 3G): strokes, grams and cartridges of one service, in the column of its grease."""
    table = np.zeros((len(rows), 3, len(greases)))
    for i, service in enumerate(rows.services):
        g = greases.index(service.grease.name)
        table[i, :, g] = service.strokes, service.grams, service.cartridges
    return table.reshape(len(rows), -1)


def ordinary_start(
    rows: JointRows, mean_h: FloatArray, *, weeks: int, rng: np.random.Generator
) -> tuple[FloatArray, FloatArray]:
    """Hours and days since greased, (weeks, N) each, of a week long after any record.

    Every moment of an interval is as likely; joints of one unit and interval are greased
    together. ``mean_h`` (units,) are hours a calendar day; a unit that stands has all days alike.
    """
    keys = np.stack([rows.unit, rows.limit_h, rows.limit_days], axis=1)
    _, group = np.unique(keys, axis=0, return_inverse=True)
    group = group.reshape(-1)
    used = rng.random((weeks, int(group.max(initial=0)) + 1))[:, group]
    a_day = mean_h[rows.unit]
    by_hours = np.full(len(rows), np.inf)
    np.divide(rows.limit_h, a_day, out=by_hours, where=a_day > 0)
    cycle = np.minimum(by_hours, rows.limit_days)
    cycle[~np.isfinite(cycle)] = 1.0  # every shift alone, or a unit that stands
    return used * cycle * a_day, np.floor(used * cycle)


def simulate(
    rows: JointRows,
    calendar: Calendar,
    *,
    day_hours: Sequence[DayHours],
    rates: FloatArray,
    ahead_h: float,
    weeks: int = LEAST_WEEKS,
    seed: int = 1,
    ordinary: bool = False,
) -> Weeks:
    """``weeks`` weeks in which every joint is greased on the first morning it is due.

    They begin with what the records say today, or, if ``ordinary``, somewhere in the middle of
    each interval, as a week long after. Hours are drawn unit by unit; ``rates`` (units, mornings)
    say how fast intervals are used up. The same seed draws the same hours, so that a what-if
    differs by its cause alone.
    """
    rng = np.random.default_rng(seed)
    days = len(calendar)
    hours = draw_hours(day_hours, weeks=weeks, days=days, rng=rng)
    greases = tuple(dict.fromkeys(service.grease.name for service in rows.services))
    table = _per_service(rows, greases)
    if ordinary:
        rows = replace(rows, greased_today=np.zeros(len(rows), dtype=np.bool_))
    clockwork = Clockwork.start(rows, calendar, ahead_h=ahead_h, weeks=weeks)
    if ordinary:
        mean_h = np.array([hours.mean_h for hours in day_hours])
        work_share = days / sum(calendar.step_days)
        drawn = ordinary_start(rows, mean_h * work_share, weeks=weeks, rng=rng)
        clockwork.since_h, clockwork.since_days = drawn
    services = np.zeros((weeks, days))
    used = np.zeros((weeks, days, 3, len(greases)))
    of_joint = np.zeros(len(rows))
    for day in range(days):
        due = clockwork.due(day)
        services[:, day] = due.sum(axis=1)
        used[:, day] = (due.astype(np.float64) @ table).reshape(weeks, 3, len(greases))
        of_joint += due.sum(axis=0)
        clockwork.grease(due)
        clockwork.run_on(day, hours[:, :, day], rates=rates)
    strokes, grams, cartridges = (np.ascontiguousarray(used[:, :, k]) for k in range(3))
    return Weeks(greases, services, strokes, grams, cartridges, of_joint / weeks)


def expected_mornings(
    rows: JointRows,
    calendar: Calendar,
    *,
    day_hours: Sequence[DayHours],
    rates: FloatArray,
    ahead_h: float,
) -> BoolArray:
    """(mornings, N): what is due on which morning if every unit works its expected hours."""
    mean = np.array([hours.mean_h for hours in day_hours])[None, :]
    clockwork = Clockwork.start(rows, calendar, ahead_h=ahead_h, weeks=1)
    found = []
    for day in range(len(calendar)):
        due = clockwork.due(day)
        found.append(due[0])
        clockwork.grease(due)
        clockwork.run_on(day, mean, rates=rates)
    return np.array(found, dtype=np.bool_)
