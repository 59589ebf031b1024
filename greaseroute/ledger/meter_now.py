"""What a unit's meter is expected to show at a moment, and what is doubtful about it."""

from collections.abc import Iterator, Sequence
from datetime import datetime, timedelta
from itertools import pairwise
from typing import Final

from greaseroute.ledger.meters import (
    READING_SLACK_H,
    MeterPoint,
    WorkingDay,
    meter_at,
    unlikely,
)
from greaseroute.site.fleet import Unit
from greaseroute.site.past import MeterNote

STOOD_DAYS: Final = 7
"""Days without an hour on the meter of a machine that is said to work, after which its meter is
doubted and hours are reckoned from hours a day: common practice, no source."""


def believed(
    points: Sequence[MeterPoint], *, day: WorkingDay
) -> tuple[Sequence[MeterPoint], MeterPoint | None]:
    """The points of a unit's meter that are believed, and since when it stands, if it does.

    A meter that has not moved for long, on a machine that is said to work, has failed: readings
    after the first of those that show the same are left out, so that hours go on by the day.
    """
    first = _stood_from(points)
    if first is None or day.hours_h <= 0:
        return points, None
    worked_h = day.hours(first.at, points[-1].at)
    if worked_h <= STOOD_DAYS * day.hours_h:
        return points, None
    return points[: points.index(first) + 1], first


def _stood_from(points: Sequence[MeterPoint]) -> MeterPoint | None:
    """The first of the last readings that all show the same hours, if there are two."""
    first = None
    for later, point in pairwise(reversed(points)):
        if later.new or abs(later.meter_h - point.meter_h) > READING_SLACK_H:
            break
        first = point
    return first


def meter_notes(
    unit: Unit, points: Sequence[MeterPoint], *, at: datetime, day: WorkingDay
) -> Iterator[MeterNote]:
    """What there is to say of a unit's meter at a moment."""
    yield from _doubts(unit, points)
    known, stood = believed(points, day=day)
    if stood is not None:
        text = (
            f"stands at {stood.meter_h:g} h since {stood.at:%Y-%m-%d}: hours are taken from "
            f"{unit.hours_per_day:g} h a day; if it did not work, book it as away"
        )
        yield MeterNote(unit=unit.unit, kind="stood", text=text)
    elif at - points[-1].at > timedelta(days=STOOD_DAYS):
        last, meter_h = points[-1], meter_at(known, at, day=day) or 0.0
        text = (
            f"last read on {last.at:%Y-%m-%d} at {last.meter_h:g} h: {meter_h:.0f} h are expected "
            f"now at {unit.hours_per_day:g} h a day"
        )
        yield MeterNote(unit=unit.unit, kind="estimated", text=text)


def _doubts(unit: Unit, points: Sequence[MeterPoint]) -> Iterator[MeterNote]:
    for wrong in unlikely([point._replace(sure=False) for point in points]):
        fell = f"{wrong.other.meter_h:g} h to {wrong.point.meter_h:g} h"
        kind = "ran back" if wrong.backwards else "jumped"
        text = f"{kind} from {fell} on {wrong.point.at:%Y-%m-%d}"
        yield MeterNote.model_validate({"unit": unit.unit, "kind": kind, "text": text})
    for before, point in pairwise(points):
        if point.new:
            text = (
                f"replaced on {point.at:%Y-%m-%d}: {before.meter_h:g} h on the old one, "
                f"{point.meter_h:g} h on the new one"
            )
            yield MeterNote(unit=unit.unit, kind="replaced", text=text)
