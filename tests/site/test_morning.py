from datetime import datetime, time
from zoneinfo import ZoneInfo

import pytest
from shapely.geometry import box

from greaseroute.site.ground_plan import Area, Hours
from greaseroute.site.morning import changes, clock_span, morning_of, start_of, unit_window
from tests.rounds.yards import AT, technician, unit, yard

MINUTE = 60_000


def a_morning():
    return morning_of(yard([unit(0, "grader-18t", 20, 20)]), AT)  # 04:00 to the shift at 11:00


def test_a_morning_lasts_until_the_next_start_of_the_shift():
    assert a_morning().end_ms == 7 * 60 * MINUTE


def test_a_finish_told_by_the_caller_wins():
    site = yard([unit(0, "grader-18t", 20, 20)])
    assert morning_of(site, AT, finish_by=AT.replace(hour=5)).end_ms == 60 * MINUTE


def test_moments_are_written_with_offset_and_with_milliseconds_only_if_there_are_any():
    assert a_morning().text(90_000) == "2031-03-04T04:01:30+00:00"
    assert a_morning().text(1) == "2031-03-04T04:00:00.001+00:00"


def test_a_night_in_which_the_clock_goes_back_is_an_hour_longer():
    # Berlin, 26 October 2031: 01:30 CEST to 04:00 CET, 2 h 30 min on the clock, lasts 3 h 30 min
    zone = ZoneInfo("Europe/Berlin")
    site = yard([unit(0, "grader-18t", 20, 20)], time_zone="Europe/Berlin", shift_start="04:00")
    night = morning_of(site, datetime(2031, 10, 26, 1, 30, tzinfo=zone))
    assert night.end_ms == 210 * MINUTE
    assert night.text(90 * MINUTE) == "2031-10-26T02:00:00+01:00"


def test_an_open_window_is_the_morning_and_a_parked_one_its_part_of_it():
    assert unit_window(unit(0, "grader-18t", 20, 20), a_morning()) == (0, 420 * MINUTE)
    parked = unit(
        0, "grader-18t", 20, 20, parked_from=AT.replace(hour=3), parked_to=AT.replace(hour=5)
    )
    assert unit_window(parked, a_morning()) == (0, 60 * MINUTE)


def test_a_technician_who_starts_later_sets_off_later():
    assert start_of(technician(), a_morning()) == 0
    assert start_of(technician(starts_at="04:20"), a_morning()) == 20 * MINUTE
    assert start_of(technician(starts_at="03:20"), a_morning()) == 0


def test_changes_are_the_edges_of_hours_inside_the_morning():
    zone = Area(
        "blast", "no_go", box(0, 0, 1, 1), hours=(Hours(time(3), time(5)), Hours(time(6), time(12)))
    )
    # 05:00 and 06:00; 03:00 and 12:00 are outside 04:00 to 11:00
    assert changes([zone], a_morning()) == [60 * MINUTE, 120 * MINUTE]


@pytest.mark.parametrize(
    ("hours", "span"),
    [
        (("05:30", "09:00"), (90, 300)),
        (("22:00", "04:30"), (0, 30)),  # since the evening before
        (("10:00", "14:00"), (360, 420)),  # cut at the start of the shift
        (("12:00", "14:00"), None),
        (("00:00", "00:00"), (0, 420)),  # all day and night
    ],
)
def test_a_person_is_at_hand_for_a_part_of_the_morning(hours, span):
    found = clock_span(*hours, a_morning())  # from 04:00 to 11:00
    assert found == (None if span is None else (span[0] * MINUTE, span[1] * MINUTE))
