"""Thousands of weeks drawn at once: services, strokes, grams and cartridges, morning by morning."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from greaseroute.forecast.calendar import Calendar
from greaseroute.forecast.joints import FloatArray, JointRows
from greaseroute.forecast.mornings import SLACK, BoolArray, Clockwork
from greaseroute.forecast.windows import WearDays
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

    def since(self, morning: int) -> "Weeks":
        """The same without the first mornings."""
        return replace(
            self,
            services=self.services[:, morning:],
            strokes=self.strokes[:, morning:],
            grams=self.grams[:, morning:],
            cartridges=self.cartridges[:, morning:],
        )


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


@dataclass(frozen=True, slots=True, eq=False)
class PlannedServices:
    """What a week's rounds grease: ``on`` (D, N) by the plan; ``wear`` and ``late`` its tolerance.

    The rule of `round --week`: the joints of that morning, and what hours made due that the week
    has on no later morning, or too late. A joint greased beside the plan goes by what is due from
    there on. ``never`` (N,) are joints that cannot be greased as things stand. ``backlog`` (D, N)
    are services over already when the week begins: they wait for the morning that the week gives
    them.
    """

    on: BoolArray
    backlog: BoolArray
    never: BoolArray
    wear: WearDays
    late: float

    def greased(
        self, clockwork: Clockwork, day: int, *, due: BoolArray, astray: BoolArray
    ) -> BoolArray:
        """(W, N) what is greased on a morning; ``astray`` is kept up."""
        rows = clockwork.rows
        ahead = self.on[day + 1 :]
        follows = ahead.any(axis=0) if len(ahead) else np.zeros(len(rows), dtype=np.bool_)
        next_day = day + 1 + (np.argmax(ahead, axis=0) if len(ahead) else 0)
        every = np.arange(len(rows))
        hours = self.wear.hours[next_day, every] - self.wear.hours[day]
        passed = self.wear.days[next_day, every] - self.wear.days[day]
        known = np.isfinite(clockwork.since_days)
        since_h, since_days = np.where(known, (clockwork.since_h, clockwork.since_days), 0.0)
        by_h, by_days = (since_h + hours) / rows.limit_h, (since_days + passed) / rows.limit_days
        worn = np.where(known, np.maximum(by_h, by_days), np.inf)
        told = self.backlog[np.minimum(next_day, len(self.on) - 1), every]
        waits = follows & (told | (worn <= 1 + self.late + SLACK))
        beside = due & ~self.on[day] & ~waits & ~self.never
        done = np.where(astray, due & ~self.never, self.on[day] | beside)
        astray |= beside
        return np.asarray(done, dtype=np.bool_)


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
    planned: PlannedServices | None = None,
) -> Weeks:
    """``weeks`` weeks, by a plan; without one each joint is greased on the first morning it is due.

    They begin with what the records say today, or, if ``ordinary``, somewhere in the middle of
    each interval. Hours are drawn unit by unit; ``rates`` (units, mornings) say how fast intervals
    are used up. The same seed draws the same hours, so that a what-if differs by its cause alone.
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
    services, astray = np.zeros((weeks, days)), np.zeros((weeks, len(rows)), dtype=np.bool_)
    used = np.zeros((weeks, days, 3, len(greases)))
    of_joint = np.zeros(len(rows))
    for day in range(days):
        due = clockwork.due(day)
        if planned is not None:
            due = planned.greased(clockwork, day, due=due, astray=astray)
        services[:, day] = due.sum(axis=1)
        used[:, day] = (due.astype(np.float64) @ table).reshape(weeks, 3, len(greases))
        of_joint += due.sum(axis=0)
        clockwork.grease(due)
        clockwork.run_on(day, hours[:, :, day], rates=rates)
    strokes, grams, cartridges = (np.ascontiguousarray(used[:, :, k]) for k in range(3))
    return Weeks(greases, services, strokes, grams, cartridges, of_joint / weeks)
