"""Hours worked since a service, from meter readings that may have been replaced or run back."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from itertools import pairwise
from zoneinfo import ZoneInfo

READING_SLACK_H = 0.05
"""Meters show tenths: two readings of one meter may differ by half of that and mean nothing."""


@dataclass(frozen=True, slots=True, order=True)
class Reading:
    """What a unit's hour meter showed at a moment."""

    at: datetime
    meter_h: float


@dataclass(frozen=True, slots=True)
class RanBack:
    """The meter fell: replaced, or wrongly read. Hours over this fall are unknown."""

    before: Reading
    after: Reading


def in_zone(moment: datetime, zone: ZoneInfo) -> datetime:
    """``moment`` in ``zone``; one without an offset is taken as local time there."""
    return moment.replace(tzinfo=zone) if moment.tzinfo is None else moment.astimezone(zone)


def hours_between(service: Reading, now: Reading, *, trace: Iterable[Reading]) -> float | RanBack:
    """Hours on the meter from ``service`` to ``now``, or the fall that makes them unknown.

    ``trace`` is every dated reading known for the unit; those between the two moments may show
    that the meter was replaced even where the last figure is above the first.
    """
    within = {reading for reading in trace if service.at < reading.at < now.at}
    ordered = [service, *sorted(within), now]
    for before, after in pairwise(ordered):
        if after.meter_h < before.meter_h - READING_SLACK_H:
            return RanBack(before, after)
    return max(0.0, now.meter_h - service.meter_h)
