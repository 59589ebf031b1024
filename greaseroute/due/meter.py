"""Hours worked since a service, from meter readings that may have been replaced or run back."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, time
from itertools import pairwise
from zoneinfo import ZoneInfo

READING_SLACK_H = 0.05
"""Meters show tenths: two readings of one meter may differ by half of that and mean nothing."""
H_PER_S, H_PER_DAY = 1 / 3600, 24.0
MOST_DAYS = 4  # beyond, the days between count whole


@dataclass(frozen=True, slots=True, order=True)
class Reading:
    """What a unit's hour meter showed at a moment; ``new_meter``: the first of a replaced meter."""

    at: datetime
    meter_h: float
    new_meter: bool = False


@dataclass(frozen=True, slots=True)
class Pace:
    """Hours a unit works each day, from the start of the shift on: used where no meter tells."""

    hours_per_day: float
    shift_start: time

    def hours_h(self, begin: datetime, end: datetime) -> float:
        """Hours worked between two moments (one zone): a day's hours for each shift begun since.

        A shift under way at either moment counts as far as it lies between the two.
        """
        if end <= begin:
            return 0.0
        days = (end.date() - begin.date()).days
        if days <= MOST_DAYS:
            return sum(self._on(k, begin, end) for k in range(-1, days + 1))
        edges = sum(self._on(k, begin, end) for k in (-1, 0, days - 1, days))
        return edges + (days - 2) * self.hours_per_day

    def _on(self, day: int, begin: datetime, end: datetime) -> float:
        """Hours of the shift that starts so many days after the date of ``begin``."""
        first = datetime.combine(begin.date(), self.shift_start, tzinfo=begin.tzinfo)
        since_h = day * H_PER_DAY - (begin - first).total_seconds() * H_PER_S
        length_h = (end - begin).total_seconds() * H_PER_S
        return max(0.0, min(since_h + self.hours_per_day, length_h) - max(since_h, 0.0))


NO_PACE = Pace(0.0, time(0))


@dataclass(frozen=True, slots=True)
class HoursRun:
    """Hours since a service; ``told`` says which of them no meter shows, empty where it does."""

    hours_h: float
    told: str = ""


@dataclass(frozen=True, slots=True)
class RanBack:
    """The meter fell, or was replaced and nothing tells what ran before: hours are unknown."""

    before: Reading
    after: Reading


def in_zone(moment: datetime, zone: ZoneInfo) -> datetime:
    """``moment`` in ``zone``; one without an offset is taken as local time there."""
    return moment.replace(tzinfo=zone) if moment.tzinfo is None else moment.astimezone(zone)


def hours_between(
    service: Reading, now: Reading, *, trace: Iterable[Reading], pace: Pace = NO_PACE
) -> HoursRun | RanBack:
    """Hours from ``service`` to ``now``, or the fall of the meter that makes them unknown.

    ``trace`` is every dated reading known for the unit; those between the two moments may show
    that the meter was replaced even where the last figure is above the first. Where a reading is
    marked as the first of a new meter, the old one counts up to its last reading, and from there
    to the replacement the unit's ``pace``.
    """
    within = {r for r in trace if service.at < r.at < now.at}
    meters = _meters([service, *sorted(within), now])
    for meter in meters:
        for before, after in pairwise(meter):
            if after.meter_h < before.meter_h - READING_SLACK_H:
                return RanBack(before, after)
    hours_h = sum(max(0.0, m[-1].meter_h - m[0].meter_h) for m in meters)
    if len(meters) == 1:
        return HoursRun(hours_h)
    if pace.hours_per_day == 0 and any(len(meter) == 1 for meter in meters[:-1]):
        return RanBack(meters[0][-1], meters[1][0])
    unseen_h = sum(pace.hours_h(old[-1].at, new[0].at) for old, new in pairwise(meters))
    return HoursRun(hours_h + unseen_h, _replaced_text(meters, unseen_h))


def _meters(ordered: Sequence[Reading]) -> list[list[Reading]]:
    """Readings in order of time, those of one meter together."""
    meters: list[list[Reading]] = [[]]
    for reading in ordered:
        if reading.new_meter and meters[-1]:
            meters.append([])
        meters[-1].append(reading)
    return meters


def _replaced_text(meters: Sequence[Sequence[Reading]], unseen_h: float) -> str:
    at = meters[-1][0].at
    text = f"meter replaced on {at.day} {at:%b %Y}"
    if round(unseen_h, 1) == 0:
        return text
    return f"{text}, {round(unseen_h, 1):g} h of it from hours per day"
