"""Hours a unit works on a day it works: mean and spread, from readings or from the fleet list."""

from collections.abc import Iterable
from itertools import pairwise

from greaseroute.ledger.meters import READING_SLACK_H
from greaseroute.plan.week import DayHours
from greaseroute.site.fleet import MeterReading, Unit
from greaseroute.site.work_days import EVERY_DAY, WorkDays

ENOUGH_READINGS = 10


FLEET_SPREAD = 0.25


"""Standard deviation over mean of a day's hours where only the fleet list is known: common
practice, no source. A setting of the caller."""


def _spans(
    readings: list[MeterReading], *, work_days: WorkDays
) -> tuple[list[tuple[float, int]], int]:
    """(hours, working days) between readings, and how often the meter fell (span left out).

    Hours over days off are carried into the next span that has a working day.
    """
    spans, falls, carried = [], 0, 0.0
    for a, b in pairwise(readings):
        hours = b.meter_h - a.meter_h
        if hours < -READING_SLACK_H:
            falls, carried = falls + 1, 0.0
            continue
        carried += max(0.0, hours)
        days = work_days.before(b.at.date()) - work_days.before(a.at.date())
        if days:
            spans.append((carried, days))
            carried = 0.0
    return spans, falls


def _mean_sd(spans: list[tuple[float, int]]) -> tuple[float, float]:
    """Mean a day, and the standard deviation of one day from spans of several.

    A span of n independent days varies n times as one day: each squared residual is divided by n.
    """
    days = sum(n for _, n in spans)
    mean = sum(h for h, _ in spans) / days
    if len(spans) < 2:
        return mean, 0.0
    variance = sum((h - mean * n) ** 2 / n for h, n in spans) / (len(spans) - 1)
    return mean, variance**0.5


def day_hours(
    unit: Unit,
    readings: Iterable[MeterReading],
    *,
    work_days: WorkDays = EVERY_DAY,
    fleet_spread: float = FLEET_SPREAD,
) -> DayHours:
    """Hours of ``unit`` on a working day, from its dated readings where it has ten or more.

    Else the fleet list's hours a day, with ``fleet_spread`` as standard deviation over mean.
    """
    mine = sorted((r for r in readings if r.unit == unit.unit), key=lambda r: (r.at, r.meter_h))
    spans, falls = _spans(mine, work_days=work_days)
    if len(mine) >= ENOUGH_READINGS and len(spans) >= 2:
        mean, sd = _mean_sd(spans)
        return DayHours(
            unit=unit.unit,
            mean_h=mean,
            sd_h=sd,
            source="meter readings",
            readings=len(mine),
            falls=falls,
        )
    mean = unit.hours_per_day
    return DayHours(
        unit=unit.unit,
        mean_h=mean,
        sd_h=fleet_spread * mean,
        source="fleet list",
        readings=len(mine),
        falls=falls,
    )
