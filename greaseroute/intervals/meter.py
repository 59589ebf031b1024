"""Hours worked since a service, from meter readings that may have been replaced or run back."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, time
from itertools import pairwise

from greaseroute.ledger.meters import READING_SLACK_H, WorkingDay


@dataclass(frozen=True, slots=True, order=True)
class Reading:
    """What a unit's hour meter showed at a moment; ``new_meter``: the first of a replaced meter."""

    at: datetime
    meter_h: float
    new_meter: bool = False


NO_HOURS = WorkingDay(time(0), 0.0)


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


def hours_between(
    service: Reading, now: Reading, *, trace: Iterable[Reading], day: WorkingDay = NO_HOURS
) -> HoursRun | RanBack:
    """Hours from ``service`` to ``now``, or the fall of the meter that makes them unknown.

    ``trace`` is every dated reading known for the unit; those between the two moments may show
    that the meter was replaced even where the last figure is above the first. Where a reading is
    marked as the first of a new meter, the old one counts up to its last reading, and from there
    to the replacement the hours of the unit's working ``day``.
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
    if day.hours_h == 0 and any(len(meter) == 1 for meter in meters[:-1]):
        return RanBack(meters[0][-1], meters[1][0])
    unseen_h = sum(day.hours(old[-1].at, new[0].at) for old, new in pairwise(meters))
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
