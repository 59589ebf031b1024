"""Moments, spans of hours, and the windows of parked units."""

from datetime import UTC, datetime, time
from zoneinfo import ZoneInfo

import pytest

from greaseroute.errors import UnknownName
from greaseroute.site.fleet import Unit
from greaseroute.site.folder import read_site
from greaseroute.site.moment import (
    hours_span,
    moment,
    next_time,
    parked_window,
    shift_start,
    time_of_day,
    zone,
)
from tests.site.planting import GOOD

BERLIN = ZoneInfo("Europe/Berlin")


def _unit(**window):
    return Unit(unit="A", type="t", x_m=0, y_m=0, heading_deg=0, meter_h=1, **window)


def test_a_text_without_offset_is_local():
    # Berlin is at UTC+1 in winter, UTC+2 in summer.
    assert moment("2026-01-10T05:00", BERLIN).astimezone(UTC) == datetime(
        2026, 1, 10, 4, tzinfo=UTC
    )
    assert moment("2026-07-10 05:00", BERLIN).astimezone(UTC) == datetime(
        2026, 7, 10, 3, tzinfo=UTC
    )


def test_an_offset_is_kept_and_shown_in_the_zone():
    at = moment("2026-07-10T03:00Z", BERLIN)
    assert (at.hour, at.utcoffset().total_seconds()) == (5, 7200)


def test_a_date_alone_is_its_midnight():
    assert moment("2026-07-10", BERLIN) == datetime(2026, 7, 10, tzinfo=BERLIN)


@pytest.mark.parametrize("text", ["11/24/2026", "tomorrow", "2026-13-01", "31.02.2026", ""])
def test_no_moment(text):
    with pytest.raises(ValueError, match="a local date and time such as 2026-11-25T05:00"):
        moment(text, BERLIN)


@pytest.mark.parametrize("text", ["24:00", "5", "5:0", "05:00+02:00", "noon"])
def test_no_time_of_day(text):
    with pytest.raises(ValueError, match="a time of day HH:MM, 00:00 to 23:59"):
        time_of_day(text)


@pytest.mark.parametrize(
    ("text", "same"),
    [
        ("24.11.2026", "2026-11-24T00:00"),
        ("24.11.2026 05:40", "2026-11-24T05:40"),
        ("4.1.2026 5:40", "2026-01-04T05:40"),
    ],
)
def test_a_day_with_points_is_read(text, same):
    assert moment(text, BERLIN) == moment(same, BERLIN)


def test_an_hour_of_one_digit_is_read():
    assert time_of_day("5:15") == time(5, 15)


@pytest.mark.parametrize(
    "text", ["9999-12-31T23:59:59-14:00", "0001-01-01T00:00", "9999-12-31T23:00", "2200-01-01"]
)
def test_years_beyond_reason(text):
    with pytest.raises(ValueError, match=r"2026-11-25T05:00, from 1971 to 2199"):
        moment(text, BERLIN)


def test_spans_of_hours():
    span = hours_span("22:30-24:00")
    assert (span.start, span.end) == (time(22, 30), time(0, 0))
    assert hours_span("12:00 – 12:30").end == time(12, 30)
    with pytest.raises(ValueError, match="whose end differs from its start"):
        hours_span("12:00-12:00")


def test_an_unknown_zone_is_named():
    with pytest.raises(UnknownName, match="time_zone: Europe/Berlino; allowed: an IANA zone"):
        zone("Europe/Berlino")


def test_next_time_is_today_until_it_has_passed():
    at = datetime(2026, 3, 3, 5, 0, tzinfo=BERLIN)
    assert next_time(time(5, 0), at) == at
    assert next_time(time(4, 59), at) == datetime(2026, 3, 4, 4, 59, tzinfo=BERLIN)


def test_the_shift_starts_after_the_moment_planned_for():
    site = read_site(GOOD)  # shift_start 06:30
    early = datetime(2026, 3, 3, 5, 0, tzinfo=BERLIN)
    assert shift_start(site.shift_start, early) == datetime(2026, 3, 3, 6, 30, tzinfo=BERLIN)
    assert shift_start(site.shift_start, early.replace(hour=6, minute=30)).day == 4


def test_an_open_window():
    assert parked_window(_unit(), datetime(2026, 3, 3, 5, tzinfo=BERLIN)) == (None, None)


def test_a_daily_window_over_midnight_is_the_night_that_holds_the_moment():
    unit = _unit(parked_from_clock=time(18), parked_to_clock=time(6))
    begin, end = parked_window(unit, datetime(2026, 3, 3, 5, tzinfo=BERLIN))
    assert (begin, end) == (
        datetime(2026, 3, 2, 18, tzinfo=BERLIN),
        datetime(2026, 3, 3, 6, tzinfo=BERLIN),
    )


def test_a_daily_window_that_has_passed_stays_passed():
    # At 06:30 the unit that left at 06:00 is gone; it is not waited for until tomorrow.
    end = parked_window(_unit(parked_to_clock=time(6)), datetime(2026, 3, 3, 6, 30, tzinfo=BERLIN))[
        1
    ]
    assert end == datetime(2026, 3, 3, 6, tzinfo=BERLIN)


def test_a_daily_window_begins_a_day_earlier_where_it_would_end_before_it_begins():
    unit = _unit(parked_from_clock=time(16), parked_to_clock=time(6))
    begin, _ = parked_window(unit, datetime(2026, 3, 3, 5, tzinfo=BERLIN))
    assert begin == datetime(2026, 3, 2, 16, tzinfo=BERLIN)


def test_a_dated_window_is_taken_as_it_is():
    begin, end = datetime(2026, 3, 2, 18, tzinfo=BERLIN), datetime(2026, 3, 3, 6, tzinfo=BERLIN)
    unit = _unit(parked_from=begin, parked_to=end)
    assert parked_window(unit, datetime(2026, 5, 1, tzinfo=BERLIN)) == (begin, end)
