"""On which mornings each service that falls due may be done."""

from dataclasses import dataclass

import numpy as np
from pydantic import Field

from greaseroute.forecast.calendar import Calendar
from greaseroute.forecast.joints import FloatArray, JointRows
from greaseroute.forecast.mornings import BoolArray
from greaseroute.records import Record

FAR_OVER = 1.5
"""Beyond this share of its interval a joint is greased on the first morning, whatever the crowd."""


class Tolerance(Record):
    """How far from its due moment a service may be done, as shares of the interval.

    ``early`` 0.2: from 80 % of the interval on; ``late`` 0.1: up to 110 %. ``catch_up``: mornings
    over which joints without any record, or further over than that, may be spread. Common
    practice, no source; every one is a setting.
    """

    early: float = Field(default=0.2, ge=0, lt=1)
    late: float = Field(default=0.1, ge=0, le=1)
    catch_up: int = Field(default=2, ge=1)


@dataclass(frozen=True, slots=True)
class DueService:
    """One service of joint ``row``: falls due on morning ``due``, may be done from ``first`` to
    ``last``. ``backlog`` where it is already over its tolerance today, or was never recorded."""

    row: int
    due: int
    first: int
    last: int
    backlog: bool = False


@dataclass(frozen=True, slots=True, eq=False)
class WearDays:
    """What is used up by each morning, expected: ``hours`` (D + 1, N) and ``days`` (D + 1, N)."""

    hours: FloatArray
    days: FloatArray

    def share(self, rows: JointRows, row: int, *, begun: int, morning: int) -> float:
        """Share of the interval used on ``morning`` by a joint greased on morning ``begun``;
        with ``begun`` -1, by one last greased when its record says."""
        if begun < 0 and np.isinf(rows.since_days[row]):
            return float("inf")
        start = max(begun, 0)
        used_h = float(self.hours[morning, row] - self.hours[start, row])
        used_days = float(self.days[morning, row] - self.days[start, row])
        if begun < 0:
            used_h += float(rows.since_h[row])
            used_days += float(rows.since_days[row])
        return max(used_h / float(rows.limit_h[row]), used_days / float(rows.limit_days[row]))


def wear_days(
    rows: JointRows, calendar: Calendar, *, mean_h: FloatArray, rates: FloatArray
) -> WearDays:
    """Expected wear of N joints by each morning; ``mean_h`` (units,) hours a working day."""
    worn = (mean_h[:, None] * rates)[rows.unit].T
    steps = (np.array(calendar.step_days, dtype=np.float64) * rates)[rows.unit].T
    start = np.zeros((1, len(rows)))
    return WearDays(
        np.concatenate([start, np.cumsum(worn, axis=0)]),
        np.concatenate([start, np.cumsum(steps, axis=0)]),
    )


def _mornings_within(
    wear: WearDays, rows: JointRows, row: int, *, begun: int, low: float, high: float
) -> tuple[int, int] | None:
    """First and last morning after ``begun`` whose used share lies from ``low`` to ``high``."""
    last = len(wear.hours) - 1
    shares = [(m, wear.share(rows, row, begun=begun, morning=m)) for m in range(begun + 1, last)]
    inside = [m for m, share in shares if low - 1e-9 <= share <= high + 1e-9]
    return (inside[0], inside[-1]) if inside else None


def _window(
    wear: WearDays, rows: JointRows, row: int, *, due: int, before: tuple[int, int], tol: Tolerance
) -> tuple[int, int] | None:
    """The window of a service whose forerunner may be done on any of the mornings ``before``.

    Not too early if the forerunner was late, not too late if it was early; None where that leaves
    nothing around ``due``.
    """
    early, late = 1 - tol.early, 1 + tol.late
    low = _mornings_within(wear, rows, row, begun=before[1], low=early, high=np.inf)
    high = _mornings_within(wear, rows, row, begun=before[0], low=0.0, high=late)
    if before[0] != before[1]:
        return (low[0], high[1]) if low and high and low[0] <= high[1] else None
    return min(due, low[0]) if low else due, max(due, high[1]) if high else due


def _row_services(
    wear: WearDays, rows: JointRows, row: int, *, dues: list[int], tol: Tolerance
) -> list[DueService]:
    """The services of one joint; a service whose window would upset the next keeps to its day."""
    found: list[DueService] = []
    before = (-1, -1)
    for due in dues:
        if rows.every_shift[row]:
            window = (due, due)
        else:
            window = _window(wear, rows, row, due=due, before=before, tol=tol) or (-1, -1)
            if window == (-1, -1):
                fixed = found[-1]
                found[-1] = DueService(row, fixed.due, fixed.due, fixed.due, fixed.backlog)
                before = (fixed.due, fixed.due)
                window = _window(wear, rows, row, due=due, before=before, tol=tol) or (due, due)
        found.append(DueService(row, due, *window))
        before = window
    return found


def _catch_up(
    service: DueService, wear: WearDays, rows: JointRows, *, tol: Tolerance
) -> DueService:
    """A service over its tolerance today is spread over the first mornings, the worst on the first.

    Never recorded, or over by less than half the interval: any of ``catch_up`` mornings; further
    over: the first morning.
    """
    if service.due != 0 or rows.every_shift[service.row]:
        return service
    share = wear.share(rows, service.row, begun=-1, morning=0)
    if share <= 1 + tol.late + 1e-9:
        return service
    spread = np.isinf(share) or share <= FAR_OVER
    last = max(service.last, tol.catch_up - 1) if spread else 0
    return DueService(service.row, 0, 0, min(last, len(wear.hours) - 2), backlog=True)


def due_services(
    rows: JointRows, due: BoolArray, *, wear: WearDays, tolerance: Tolerance
) -> tuple[DueService, ...]:
    """Every service of the span with its window, from what falls due on which morning.

    ``due`` (mornings, N) is the expected course in which each joint is greased on the morning it
    is due. The windows of a joint's services fit each other: whatever morning of its window each
    one is done on, the next is neither too early nor too late.
    """
    found: list[DueService] = []
    for row in range(len(rows)):
        dues = [int(d) for d in np.flatnonzero(due[:, row])]
        services = _row_services(wear, rows, row, dues=dues, tol=tolerance)
        if services and services[0].due == 0:
            only = len(services) == 1
            first = _catch_up(services[0], wear, rows, tol=tolerance)
            services[0] = first if only else DueService(row, 0, 0, 0, first.backlog)
        found += services
    return tuple(found)
