"""On which mornings a joint may be greased, from any morning it was greased on before.

A *course* is the chain of services of one joint over the mornings of the span. From a service on
one morning an arc leads to each morning on which the next may be done, or past the last one.
"""

from dataclasses import dataclass
from datetime import datetime

import numpy as np
from pydantic import Field

from greaseroute.forecast.calendar import Calendar
from greaseroute.forecast.joints import FloatArray, JointRows
from greaseroute.records import Record

FAR_OVER = 1.5
"""Beyond this share of its interval a joint is greased on the first morning, whatever the crowd."""

RELIEF = 3  # mornings beyond the tolerance that a service is put back for want of room, at most
BEFORE = -1  # the morning of the last service on record
SLACK = 1e-9


class Tolerance(Record):
    """How far from its due moment a service may be done, as shares of the interval.

    ``early`` 0.2: from 80 % of the interval on; ``late`` 0.1: up to 110 %. ``catch_up``: mornings
    over which joints without any record, or further over than that, may be spread. Common
    practice, no source; every one is a setting.
    """

    early: float = Field(default=0.2, ge=0, lt=1)
    late: float = Field(default=0.1, ge=0, le=1)
    catch_up: int = Field(default=2, ge=1)


@dataclass(frozen=True, slots=True, eq=False)
class WearDays:
    """What is used up by each morning, expected: ``hours`` (D + 1, N) and ``days`` (D + 1, N)."""

    hours: FloatArray
    days: FloatArray

    def shares(self, rows: JointRows, row: int, *, begun: int) -> FloatArray:
        """(D + 1,) share of the interval used on each morning, and on the one after the last, by a
        joint greased on morning ``begun``; with ``BEFORE``, by one last greased by its record."""
        if begun == BEFORE and np.isinf(rows.since_days[row]):
            return np.full(len(self.hours), np.inf)
        used_h, used_days = self._used(rows, row, begun=begun)
        share = np.maximum(used_h / rows.limit_h[row], used_days / rows.limit_days[row])
        return np.asarray(share, dtype=np.float64)

    def _used(self, rows: JointRows, row: int, *, begun: int) -> tuple[FloatArray, FloatArray]:
        """(D + 1,) hours and days used on each morning."""
        start = max(begun, 0)
        used_h = self.hours[:, row] - self.hours[start, row]
        used_days = self.days[:, row] - self.days[start, row]
        if begun == BEFORE:
            used_h, used_days = used_h + rows.since_h[row], used_days + rows.since_days[row]
        return used_h, used_days

    def left(self, rows: JointRows, row: int, *, begun: int) -> tuple[FloatArray, FloatArray]:
        """(D + 1,) hours and days left on each morning; none where no service is on record."""
        if begun == BEFORE and np.isinf(rows.since_days[row]):
            none = np.zeros(len(self.hours))
            return none, none
        used_h, used_days = self._used(rows, row, begun=begun)
        return rows.limit_h[row] - used_h, rows.limit_days[row] - used_days


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


@dataclass(frozen=True, slots=True)
class Arcs:
    """The mornings that may follow one service: those inside the tolerance.

    ``due`` is the first morning on which the next is owed, D where that is after the span.
    ``over``: no morning keeps the tolerance; the next one is taken. ``backlog``: it was over
    today already, or was never recorded.
    """

    to: tuple[int, ...]
    due: int
    over: bool = False
    backlog: bool = False


@dataclass(frozen=True, slots=True, eq=False)
class Course:
    """What one joint's services may be, ``arcs[b]`` by the morning of the one before.

    ``rows`` are joints that share it: of one unit, with one interval, greased together. ``late``
    are mornings beyond the tolerance, for want of room.
    """

    rows: tuple[int, ...]
    unit: int
    arcs: dict[int, Arcs]
    late: dict[int, tuple[int, ...]]


@dataclass(frozen=True, eq=False)
class CourseMaker:
    """Makes the courses of all joints of a span."""

    rows: JointRows
    calendar: Calendar
    wear: WearDays
    tolerance: Tolerance
    ahead_h: float

    def courses(self, *, apart: bool, relief: bool = False) -> tuple[Course, ...]:
        """One course for each set of joints that share it, in the order of the joints; for each
        joint on its own where they are to be ``apart``."""
        rows, groups = self.rows, dict[tuple[float, ...], list[int]]()
        for row in range(len(rows)):
            key = (
                float(rows.unit[row]), float(rows.limit_h[row]), float(rows.limit_days[row]),
                float(rows.every_shift[row]), float(rows.since_h[row]),
                float(rows.since_days[row]), float(rows.greased_today[row]),
                float(row if apart else -1),
            )  # fmt: skip
            groups.setdefault(key, []).append(row)
        return tuple(self.course(tuple(mine), relief=relief) for mine in groups.values())

    def course(self, mine: tuple[int, ...], *, relief: bool = False) -> Course:
        """The course of joints from the last service on record on."""
        arcs: dict[int, Arcs] = {}
        late: dict[int, tuple[int, ...]] = {}
        waiting, end = [BEFORE], len(self.calendar)
        while waiting:
            b = waiting.pop()
            if b in arcs:
                continue
            arcs[b] = self.arcs(mine[0], b, first=b + 1)
            last = max(arcs[b].to)
            if relief and last < end:
                late[b] = tuple(range(last + 1, min(last + RELIEF, end - 1) + 1))
            waiting += [m for m in (*arcs[b].to, *late.get(b, ())) if m < end]
        return Course(mine, int(self.rows.unit[mine[0]]), arcs, late)

    def arcs(self, row: int, begun: int, *, first: int) -> Arcs:
        """What may follow a service on morning ``begun``, from morning ``first`` on."""
        end, tol = len(self.calendar), self.tolerance
        share = self.wear.shares(self.rows, row, begun=begun)
        due = self._due(row, begun, first=first)
        if first >= end:
            return Arcs((end,), end, over=bool(share[end] > 1 + tol.late + SLACK))
        if self.rows.every_shift[row]:
            over, known = bool(share[due] > 1 + tol.late + SLACK), begun != BEFORE
            return Arcs((due,), due, over=over and known, backlog=over and not known)
        fine = [m for m in range(first, end) if share[m] <= 1 + tol.late + SLACK]
        if begun == BEFORE and not (fine and fine[0] == first):
            return self._backlog(float(share[first]), first)
        if due == end and share[end] <= 1 + tol.late + SLACK:
            return Arcs((end,), end)
        if not fine:
            return Arcs((first,), min(due, first), over=True)
        early = [m for m in fine if share[m] >= 1 - tol.early - SLACK or m >= due]
        return Arcs(tuple(early) or (fine[-1],), min(due, end))

    def _backlog(self, share: float, first: int) -> Arcs:
        """Over its tolerance today: one of the first mornings; far over: the very first."""
        spread = self.tolerance.catch_up if np.isinf(share) or share <= FAR_OVER else 1
        last = min(first + spread, len(self.calendar))
        return Arcs(tuple(range(first, last)), first, backlog=True)

    def _due(self, row: int, begun: int, *, first: int) -> int:
        """The first morning from ``first`` on at which the joint is owed, as `due.owed` says."""
        rows, end = self.rows, len(self.calendar)
        left_h, left_days = self.wear.left(rows, row, begun=begun)
        looks = self.ahead_h > 0
        for m in range(first, end):
            ahead_days = self.calendar.step_days[m] if looks else 0
            owed = left_h[m] <= self.ahead_h + SLACK or left_days[m] <= SLACK
            owed = owed or left_days[m] < ahead_days - SLACK
            shift = rows.every_shift[row] and not (
                m == 0 and begun == BEFORE and rows.greased_today[row]
            )
            if owed or shift:
                return m
        return end


def date_text(moment: datetime) -> str:
    """Such as ``Thu 5 March``."""
    return f"{moment:%a} {moment.day} {moment:%B}"
