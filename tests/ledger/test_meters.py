"""Hour meters: read, stood, ran back, jumped, replaced, away; and the hours in between."""

from datetime import datetime, time, timedelta
from zoneinfo import ZoneInfo

import pytest

from greaseroute.ledger.absences import absences_of
from greaseroute.ledger.events import Arrived, Away, Left, MeterRead, MeterReplaced
from greaseroute.ledger.meter_now import believed, meter_notes
from greaseroute.ledger.meters import MeterPoint, WorkingDay, meter_at, points_of, unlikely
from greaseroute.site.fleet import Unit

ZONE = ZoneInfo("Europe/Berlin")
DAY = WorkingDay(time(6, 30), 8.0)


def at(day, clock="05:00"):
    hour, minute = map(int, clock.split(":"))
    return datetime(2026, 3, 1, hour, minute, tzinfo=ZONE) + timedelta(days=day)


def test_a_morning_finds_the_meter_where_the_evening_left_it():
    evening = [MeterPoint(at(0, "18:00"), 100.0)]
    assert meter_at(evening, at(1), day=DAY) == 100.0
    assert meter_at(evening, at(1, "10:30"), day=DAY) == 104.0
    assert meter_at(evening, at(3), day=DAY) == 116.0
    assert meter_at(evening, at(0, "12:30"), day=DAY) == 98.0  # 12:30 to 14:30 is before it


def test_between_two_readings_hours_go_by_the_shift():
    # 12 h in two days of work: after the first day half of them.
    pair = [MeterPoint(at(0), 100.0), MeterPoint(at(2), 112.0)]
    assert meter_at(pair, at(1), day=DAY) == 106.0
    assert meter_at(pair, at(0, "10:30"), day=DAY) == 103.0


def test_hours_away_do_not_count():
    away = WorkingDay(time(6, 30), 8.0, ((at(1), at(3)), (at(2), at(4))))
    assert away.hours(at(0), at(6)) == 8.0 * 3
    assert DAY.hours(at(0), at(6)) == 8.0 * 6
    assert away.hours(at(3), at(1)) == 0.0


def _read(day, hours, **more):
    return MeterRead(id=f"m{day}-{hours}", at=at(day), unit="A", meter_h=hours, **more)


def test_a_replaced_meter_is_two_meters():
    replaced = MeterReplaced(id="r", at=at(2), unit="A", old_h=116, new_h=3)
    points = points_of([_read(0, 100), replaced, _read(3, 11)])["A"]
    assert [(p.meter_h, p.new) for p in points] == [
        (100, False),
        (116, False),
        (3, True),
        (11, False),
    ]
    assert unlikely(points) == []
    assert meter_at(points, at(1), day=DAY) == pytest.approx(108)
    assert meter_at(points, at(4), day=DAY) == 19


@pytest.mark.parametrize(
    ("readings", "found"),
    [
        ([(0, 100), (1, 99.8)], [True]),
        ([(0, 100.05), (1, 99.95)], []),  # a tenth: rounded the one, cut off the other
        ([(0, 100), (1, 124.2)], []),
        ([(0, 100), (1, 124.3)], [False]),
        ([(0, 100), (1, 90), (2, 101)], [True]),
    ],
)
def test_unlikely_readings(readings, found):
    points = points_of([_read(*each) for each in readings])["A"]
    assert [wrong.backwards for wrong in unlikely(points)] == found


def test_an_undated_figure_of_the_fleet_list_bounds_from_below_only():
    fleet = MeterRead(id="f", at=at(0), unit="A", meter_h=100, source="fleet.csv:2")
    assert unlikely(points_of([fleet, _read(1, 150)])["A"]) == []
    assert [w.backwards for w in unlikely(points_of([fleet, _read(1, 90)])["A"])] == [True]


def _unit():
    return Unit(unit="A", type="t", x_m=0, y_m=0, heading_deg=0, meter_h=0, hours_per_day=8)


def _notes(*events, day=20):
    points = points_of(events)["A"]
    return [(n.kind, n.text) for n in meter_notes(_unit(), points, at=at(day), day=DAY)]


def test_a_meter_that_stands_for_more_than_a_week_is_not_believed():
    still = [_read(k, 100) for k in range(9)]
    assert believed(points_of(still)["A"], day=DAY)[1] is not None
    (note,) = _notes(*still, day=8)
    assert note[0] == "stood"
    assert "stands at 100 h since 2026-03-01: hours are taken from 8 h a day" in note[1]
    known, _ = believed(points_of(still)["A"], day=DAY)
    assert meter_at(known, at(8), day=DAY) == 164.0
    # A week is not yet too long, and a machine that was away has stood for a reason.
    assert believed(points_of(still[:8])["A"], day=DAY)[1] is None
    away = WorkingDay(time(6, 30), 8.0, ((at(0), at(7)),))
    assert believed(points_of(still)["A"], day=away)[1] is None


def test_what_is_said_of_meters():
    assert _notes(_read(0, 100), day=6) == []
    assert _notes(_read(0, 100), day=8) == [
        ("estimated", "last read on 2026-03-01 at 100 h: 164 h are expected now at 8 h a day")
    ]
    assert _notes(_read(0, 100), _read(1, 90, sure=True), day=2) == [
        ("ran back", "ran back from 100 h to 90 h on 2026-03-02")
    ]
    assert _notes(_read(0, 100), _read(1, 200, sure=True), day=2) == [
        ("jumped", "jumped from 100 h to 200 h on 2026-03-02")
    ]
    replaced = MeterReplaced(id="r", at=at(2), unit="A", old_h=116, new_h=3)
    assert _notes(_read(0, 100), replaced, day=3) == [
        ("replaced", "replaced on 2026-03-03: 116 h on the old one, 3 h on the new one")
    ]


def test_absences():
    away = Away(id="a", at=at(1), unit="A", until=at(5))
    left, back = Left(id="l", at=at(10), unit="A"), Arrived(id="b", at=at(12), unit="A")
    spans = absences_of([away, left, back])["A"]
    assert [(s.since, s.until) for s in spans] == [(at(1), at(5)), (at(10), at(12))]
    early = Arrived(id="e", at=at(3), unit="A")
    assert [s.until for s in absences_of([away, early])["A"]] == [at(3)]
    assert absences_of([Arrived(id="z", at=at(0), unit="A"), away])["A"][0].until == at(5)
    assert absences_of([left])["A"][0].until is None
