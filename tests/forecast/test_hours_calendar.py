"""Hours a day from readings or the fleet list; calendars; what-ifs; packs."""

from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest

from greaseroute.errors import UnfitProblem, UnknownName
from greaseroute.forecast.calendar import plan_calendar
from greaseroute.forecast.hours import day_hours
from greaseroute.forecast.packs import pack_word, packs_for
from greaseroute.forecast.what_if import parse_what_if
from greaseroute.site.fleet import MeterReading, Unit
from greaseroute.site.work_days import WorkDays

MONDAY = datetime(2031, 3, 3, 5, 30, tzinfo=UTC)
UNIT = Unit(unit="EX-1", type="digger", x_m=0, y_m=0, heading_deg=0, meter_h=100, hours_per_day=8)


def _readings(hours, *, start=0.0, every=1):
    """A reading each ``every`` days from Monday on, ``hours`` apart."""
    meter, found = start, [MeterReading(unit="EX-1", at=MONDAY, meter_h=start)]
    for k, step in enumerate(hours, start=1):
        meter += step
        at = MONDAY + timedelta(days=every * k)
        found.append(MeterReading(unit="EX-1", at=at, meter_h=meter))
    return found


def test_ten_readings_are_enough():
    # nine days of 6, 10, 6, 10, ... 6: mean 70 / 9; sample deviation of five 6 and four 10
    found = day_hours(UNIT, _readings([6, 10, 6, 10, 6, 10, 6, 10, 6]))
    assert (found.source, found.readings) == ("meter readings", 10)
    assert found.mean_h == pytest.approx(70 / 9)
    # (5 x (6 - 7.778)^2 + 4 x (10 - 7.778)^2) / 8 = (15.80 + 19.75) / 8 = 4.444; root 2.108
    assert found.sd_h == pytest.approx(2.108, abs=5e-4)


def test_nine_readings_are_not():
    found = day_hours(UNIT, _readings([6, 10, 6, 10, 6, 10, 6, 10]))
    assert (found.source, found.mean_h, found.sd_h) == ("fleet list", 8, 2.0)


def test_a_span_of_several_days_is_spread_over_them():
    # two days each: 12 and 20 in turn, mean 8 a day; residuals -4 and +4 of two days:
    # variance of one day = 9 x 16 / 2 / 8 = 9; deviation 3
    found = day_hours(UNIT, _readings([12, 20, 12, 20, 12, 20, 12, 20, 16], every=2))
    assert found.mean_h == pytest.approx(8.0)
    # eight residuals of 4, one of 0: 8 x 16 / 2 / 8 = 8; root 2.83
    assert found.sd_h == pytest.approx(8**0.5)


def test_days_off_are_not_counted():
    # Monday to Monday over two weekends, ten working days of 8 h
    hours = [8, 8, 8, 8, 8, 0, 0] * 2
    found = day_hours(UNIT, _readings(hours), work_days=WorkDays(("sat", "sun")))
    assert (found.mean_h, found.sd_h) == (8.0, 0.0)
    assert day_hours(UNIT, _readings(hours)).mean_h == pytest.approx(80 / 14)


def test_a_meter_that_fell_is_left_out_and_told():
    readings = [*_readings([8] * 9)[:5], *(
        MeterReading(unit="EX-1", at=MONDAY + timedelta(days=5 + k), meter_h=8.0 * k)
        for k in range(8)
    )]  # fmt: skip
    found = day_hours(UNIT, readings)
    assert (found.falls, found.mean_h) == (1, 8.0)


def test_seven_mornings_without_days_off_are_seven_days():
    calendar = plan_calendar(MONDAY, 7)
    assert [m.day for m in calendar.mornings] == [3, 4, 5, 6, 7, 8, 9]
    assert calendar.step_days == (1,) * 7


def test_days_off_and_holidays_are_passed_over():
    # Monday 3rd to Wednesday 12th: weekend 8, 9; holiday Monday 10
    calendar = plan_calendar(MONDAY, 7, work_days=WorkDays(("sat", "sun"), (date(2031, 3, 10),)))
    assert [m.day for m in calendar.mornings] == [3, 4, 5, 6, 7, 11, 12]
    assert calendar.step_days == (1, 1, 1, 1, 4, 1, 1)


def test_a_first_day_off_is_passed_over():
    saturday = MONDAY + timedelta(days=5)
    assert plan_calendar(saturday, 1, work_days=WorkDays(("sat", "sun"))).mornings[0].day == 10


def test_no_mornings_left_is_told():
    week = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
    with pytest.raises(UnfitProblem, match=r"calendar: 3 mornings.*give fewer days off"):
        plan_calendar(MONDAY, 3, work_days=WorkDays(week))


@pytest.mark.parametrize(
    ("text", "severity", "days", "unit"),
    [
        ("wet=5days", "wet", 5, None),
        ("wet=1day", "wet", 1, None),
        ("dust=all", "dust", None, None),
        ("HT-12:wet=3 days", "wet", 3, "HT-12"),
    ],
)
def test_what_if_forms(text, severity, days, unit):
    found = parse_what_if(text)
    assert (found.severity, found.days, found.unit) == (severity, days, unit)


def test_a_what_if_of_another_form_is_told():
    with pytest.raises(UnknownName, match=r"--what-if: 'wet'.*write it like wet=5days"):
        parse_what_if("wet")


def test_packs_with_least_surplus_then_fewest():
    # 30 kg of 18 kg pails and 0.4 kg cartridges: 18 + 30 x 0.4 = 30.0
    found = packs_for(30, [0.4, 18.0])
    assert [(p.count, p.size_kg, p.word) for p in found] == [
        (1, 18.0, "pail"),
        (30, 0.4, "cartridge"),
    ]


def test_surplus_comes_before_the_number_of_packs():
    # 19 kg: two pails (36) would be 17 kg over; 18 + 3 x 0.4 = 19.2 is 0.2 over
    found = packs_for(19, [0.4, 18.0])
    assert sum(p.count * p.size_kg for p in found) == pytest.approx(19.2)


def test_a_very_large_need_takes_the_largest_pack_first():
    found = packs_for(1000, [0.4, 18.0, 180.0])
    assert sum(p.count * p.size_kg for p in found) == pytest.approx(1000, abs=0.4)
    assert found[0].count >= 4


def test_nothing_needed_is_no_pack():
    assert packs_for(0, [0.4]) == ()


def test_words_for_sizes():
    words = [pack_word(kg) for kg in (0.4, 1.0, 18, 50, 180)]
    assert words == ["cartridge", "tin", "pail", "keg", "drum"]


def test_an_hour_that_the_clock_leaves_out_is_an_hour_later():
    """At 02:30 on 29 March 2026 in Berlin the clock shows 03:30."""
    at = datetime(2026, 3, 28, 2, 30, tzinfo=ZoneInfo("Europe/Berlin"))
    mornings = plan_calendar(at, 3).mornings
    assert [m.isoformat()[11:] for m in mornings] == [
        "02:30:00+01:00", "03:30:00+02:00", "02:30:00+02:00",
    ]  # fmt: skip
