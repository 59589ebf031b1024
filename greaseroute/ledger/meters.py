"""Hour meters: what they showed when, what they may show next, what they showed in between."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, time, timedelta
from itertools import pairwise
from typing import Final, NamedTuple

from greaseroute.ledger.events import Event, Greased, MeterRead, MeterReplaced
from greaseroute.ledger.store import instant_ms
from greaseroute.site.work_days import EVERY_DAY, WorkDays

READING_SLACK_H: Final = 0.1 + 1e-6
"""Meters show tenths, rounded or cut off: a finer figure of the same meter may lie a tenth off
and mean nothing."""

MOST_H_A_DAY: Final = 24.0
UNDATED: Final = "fleet.csv"
"""A figure of the fleet list was read some time before: it bounds later ones from below only."""

HOUR: Final = timedelta(hours=1)


class MeterPoint(NamedTuple):
    """What a unit's meter showed at a moment; ``new`` where it is the first of another meter."""

    at: datetime
    meter_h: float
    new: bool = False
    sure: bool = False
    source: str = ""


@dataclass(frozen=True, slots=True)
class WorkingDay:
    """When a machine works: ``hours_h`` from the start of the shift on, not while it is away, and
    not on days off.

    That is how hours are spread over a day where no reading tells: a round in the morning finds
    the meter where the evening left it.
    """

    shift_start: time
    hours_h: float
    away: tuple[tuple[datetime, datetime], ...] = ()
    work_days: WorkDays = EVERY_DAY

    def hours(self, first: datetime, last: datetime) -> float:
        """Hours expected between two moments of the site's zone, 0 if ``last`` is the earlier."""
        if last <= first:
            return 0.0
        gone = sum(
            self._reckoned(end) - self._reckoned(begin)
            for begin, end in self._merged_away(first, last)
        )
        return max(0.0, self._reckoned(last) - self._reckoned(first) - gone)

    def _reckoned(self, moment: datetime) -> float:
        """Hours from a day long ago: whole days, and the part of this one that is over."""
        begun = datetime.combine(moment.date(), self.shift_start, tzinfo=moment.tzinfo)
        part = min(max((moment - begun) / HOUR, 0.0), self.hours_h)
        day = moment.date()
        today = part if self.work_days.works(day) else 0.0
        return self.work_days.before(day) * self.hours_h + today

    def _merged_away(self, first: datetime, last: datetime) -> list[tuple[datetime, datetime]]:
        """The times away between two moments, without overlaps."""
        merged: list[tuple[datetime, datetime]] = []
        for begin, end in sorted(self.away):
            begin, end = max(begin, first), min(end, last)
            if begin >= end:
                continue
            if merged and begin <= merged[-1][1]:
                merged[-1] = (merged[-1][0], max(end, merged[-1][1]))
            else:
                merged.append((begin, end))
        return merged


def points_of(events: Iterable[Event]) -> dict[str, list[MeterPoint]]:
    """Every unit's meter points in order of time; a replaced meter gives two."""
    found: dict[str, list[MeterPoint]] = {}
    for event in events:
        if isinstance(event, MeterRead):
            point = MeterPoint(event.at, event.meter_h, sure=event.sure, source=event.source)
            found.setdefault(event.unit, []).append(point)
        elif isinstance(event, MeterReplaced):
            found.setdefault(event.unit, []).extend(_replaced(event))
        elif isinstance(event, Greased) and event.meter_h is not None:
            point = MeterPoint(event.at, event.meter_h, source=event.source)
            found.setdefault(event.unit, []).append(point)
    for unit, points in found.items():
        points.sort(key=lambda p: (instant_ms(p.at), p.new))
        found[unit] = _of_their_meter(points)
    return found


def _of_their_meter(points: Sequence[MeterPoint]) -> list[MeterPoint]:
    """The points without undated figures that can only be of the meter before the last change."""
    kept: list[MeterPoint] = []
    replaced = False
    for point in points:
        replaced = replaced or point.new
        if replaced and point.source.startswith(UNDATED) and not may_follow(kept[-1], point):
            continue
        kept.append(point)
    return kept


def may_follow(before: MeterPoint, point: MeterPoint) -> bool:
    """Whether one meter can show the second figure after the first: no fall, 24 h a day at most."""
    days = (point.at - before.at) / timedelta(days=1)
    rise_h = point.meter_h - before.meter_h
    return -READING_SLACK_H <= rise_h <= MOST_H_A_DAY * days + 2 * READING_SLACK_H


def _replaced(event: MeterReplaced) -> list[MeterPoint]:
    """The last of the old one a second before, so that they stand in order for every reader."""
    before = event.at - timedelta(seconds=1)
    last = [] if event.old_h is None else [MeterPoint(before, event.old_h, source=event.source)]
    return [*last, MeterPoint(event.at, event.new_h, new=True, source=event.source)]


def meters_apart(points: Sequence[MeterPoint]) -> list[list[MeterPoint]]:
    """The points of each meter on its own, oldest meter first."""
    meters: list[list[MeterPoint]] = [[]]
    for point in points:
        if point.new and meters[-1]:
            meters.append([])
        meters[-1].append(point)
    return meters


def meter_at(points: Sequence[MeterPoint], moment: datetime, *, day: WorkingDay) -> float | None:
    """What the meter showed at a moment, by the readings before and after it; None without any.

    Between two readings of one meter hours go by the working day; outside them they go on at it.
    """
    before = [p for p in points if p.at <= moment]
    after = [p for p in points if p.at > moment]
    upper = after[0] if after and not after[0].new else None
    if not before:
        if upper is None:
            return None
        return max(0.0, upper.meter_h - day.hours(moment, upper.at))
    lower = before[-1]
    gone = day.hours(lower.at, moment)
    if upper is None or upper.meter_h < lower.meter_h - READING_SLACK_H:
        return lower.meter_h + gone
    whole = day.hours(lower.at, upper.at)
    span = upper.at - lower.at
    share = gone / whole if whole > 0 else (moment - lower.at) / span if span else 0.0
    return lower.meter_h + share * max(0.0, upper.meter_h - lower.meter_h)


@dataclass(frozen=True, slots=True)
class UnlikelyReading:
    """A reading that one meter cannot have shown after (or before) another one."""

    point: MeterPoint
    other: MeterPoint
    backwards: bool

    @property
    def limit(self) -> str:
        """What would be taken, in words."""
        bound = "at least" if self.point.at >= self.other.at else "at most"
        seen = f"{self.other.meter_h:g} h of {self.other.at:%Y-%m-%d %H:%M}"
        if self.backwards:
            return f"{bound} the {seen}"
        return f"no more than 24 h a day from the {seen}"


def unlikely(points: Sequence[MeterPoint]) -> list[UnlikelyReading]:
    """Readings that fall, or rise by more than 24 h a day, against the reading before on the meter.

    Those said to be sure are let through.
    """
    found = []
    for meter in meters_apart(points):
        for before, point in pairwise(meter):
            wrong = _unlikely_step(before, point)
            if wrong is not None and not point.sure:
                found.append(wrong)
    return found


def _unlikely_step(before: MeterPoint, point: MeterPoint) -> UnlikelyReading | None:
    rise = point.meter_h - before.meter_h
    if rise < -READING_SLACK_H:
        return UnlikelyReading(point, before, backwards=True)
    if before.source.startswith(UNDATED):
        return None
    return None if may_follow(before, point) else UnlikelyReading(point, before, backwards=False)
