"""Calendar and hours pairs, whichever comes first.

Source: US Army lubrication orders (TM 10-3930-671-24 app. E, TM 5-2420-231-23-2 WP 0088) print
pairs such as "M/60 H" with "whichever comes first". The two cases are computed from that rule:
60 h or 30 days, at 9 h a day on 5 days a week and at 1 h a day.
"""

from datetime import datetime, timedelta

import pytest

from greaseroute.catalogue.joint import Interval
from greaseroute.intervals.interval import shortened
from greaseroute.intervals.owed import LookAhead, Since, judge

PAIR = shortened(Interval(hours=60, days=30), None)
MONDAY = datetime(2031, 3, 3)


def _first_due_day(hours_a_day, *, working_days):
    """(working days passed, calendar days passed) when a joint greased on a Monday is due."""
    hours, worked = 0.0, 0
    for day in range(1, 100):
        yesterday = MONDAY + timedelta(days=day - 1)
        if yesterday.weekday() < working_days:
            hours, worked = hours + hours_a_day, worked + 1
        if judge(PAIR, Since(hours, day), ahead=LookAhead(0, 0)).status == "due":
            return worked, day
    raise AssertionError("never due")


def test_nine_hours_a_day_is_due_after_the_seventh_working_day():
    # 60 / 9 = 6.67 working days
    worked, calendar = _first_due_day(9, working_days=5)
    assert worked == 7
    assert calendar < 30


def test_one_hour_a_day_is_due_by_the_calendar():
    assert _first_due_day(1, working_days=7) == (30, 30)


@pytest.mark.parametrize(("hours", "days"), [(60, 1), (1, 30), (60, 30)])
def test_either_alone_is_enough(hours, days):
    assert judge(PAIR, Since(hours, days), ahead=LookAhead(0, 0)).status == "due"
