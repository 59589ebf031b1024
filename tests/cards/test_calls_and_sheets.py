"""The calendar of calls and the spreadsheet, read back by other programs."""

import io
from datetime import datetime, timedelta

import pytest

import greaseroute.cards.pumps_xlsx as pumps_xlsx
from greaseroute.cards.calls_ics import calls_ics
from greaseroute.errors import UnknownName
from greaseroute.plan.round import PersonCall
from tests.cards import sample


def with_a_call(yard, **changes):
    """The sample plan whose first stop has 2 min of a call before its second stand."""
    plan = sample.plan(yard)
    walk = plan.technicians[0]
    stop = walk.stops[0]
    steps = ("stand clear; here, all of you", "ask the operator", "isolate again")
    call = stop.stands[1].model_copy(
        update={"event": "posture", "before": steps, "before_s": 120.0, "fittings": (),
                "looks": (), **changes}
    )  # fmt: skip
    stop = stop.model_copy(update={"stands": (stop.stands[0], call, *stop.stands[2:])})
    walk = walk.model_copy(update={"stops": (stop, *walk.stops[1:])})
    return plan.model_copy(update={"technicians": (walk,)})


def test_a_call_is_an_event_at_its_time_and_place():
    icalendar = pytest.importorskip("icalendar")
    yard = sample.site(lonlat=(13.4, 52.5))
    text = calls_ics(with_a_call(yard), yard)
    (event,) = icalendar.Calendar.from_ical(text).walk("VEVENT")
    assert event["SUMMARY"] == "EX-01: operator to Ada, machine into its service position"
    assert event["DESCRIPTION"].startswith("1. stand clear; here, all of you\n2. ask the operator")
    # 120 s of isolation and 14 s of work lie before it; 120 s of call and 2 x 14 s follow.
    arrive = sample.START + timedelta(minutes=3)
    stretch = 360 / (120 + 14 + 120 + 2 * 14)
    begin = arrive + timedelta(seconds=134 * stretch)
    assert abs(event.decoded("DTSTART") - begin) < timedelta(seconds=2)
    assert abs(event.decoded("DTEND") - begin - timedelta(seconds=120 * stretch)) < timedelta(
        seconds=2
    )
    assert event["GEO"].latitude == pytest.approx(52.5, abs=0.01)
    assert max(len(line.encode()) for line in text.split("\r\n")) <= 75


def test_people_of_the_site_are_named_with_their_times(yard):
    icalendar = pytest.importorskip("icalendar")
    begin = sample.START + timedelta(minutes=20)
    call = PersonCall(
        person="Pia", unit="EX-01", technician="Ada", begin=begin.isoformat(),
        end=(begin + timedelta(minutes=4)).isoformat(), joint="slew ring", x_m=1.0, y_m=2.0,
    )  # fmt: skip
    plan = with_a_call(yard).model_copy(update={"people": (call,)})
    (event,) = icalendar.Calendar.from_ical(calls_ics(plan, yard)).walk("VEVENT")
    assert event["SUMMARY"] == "Pia: EX-01: second person at the controls, with Ada"
    assert event.decoded("DTSTART") == begin
    assert event.decoded("DTEND") == begin + timedelta(minutes=4)


def test_a_plan_without_a_call_has_no_event(plan, yard):
    assert "VEVENT" not in calls_ics(plan, yard)
    assert calls_ics(plan, yard).startswith("BEGIN:VCALENDAR\r\n")


def test_the_spreadsheet_has_a_row_a_fitting_with_figures(plan):
    openpyxl = pytest.importorskip("openpyxl")
    pytest.importorskip("xlsxwriter")
    made = pumps_xlsx.pumps_xlsx(plan)
    assert pumps_xlsx.pumps_xlsx(plan) == made
    sheet = openpyxl.load_workbook(io.BytesIO(made)).active
    head, *rows = [[cell.value for cell in row] for row in sheet.iter_rows()]
    tasks = [t for s in plan.technicians[0].stops for at in s.stands for t in at.fittings]
    assert len(rows) == len(tasks)
    strokes, joint = head.index("strokes"), head.index("joint")
    assert [(row[joint], row[strokes]) for row in rows] == [(t.joint, t.strokes) for t in tasks]
    assert sum(row[strokes] for row in rows) == 4 * len(tasks)


def test_a_name_that_looks_like_a_formula_stays_a_name(plan):
    openpyxl = pytest.importorskip("openpyxl")
    pytest.importorskip("xlsxwriter")
    walk = plan.technicians[0].model_copy(update={"name": "=1+1"})
    made = pumps_xlsx.pumps_xlsx(plan.model_copy(update={"technicians": (walk,)}))
    cell = openpyxl.load_workbook(io.BytesIO(made)).active["A2"]
    assert (cell.value, cell.data_type) == ("=1+1", "s")


def test_without_the_extra_it_is_named(plan, monkeypatch):
    monkeypatch.setattr(pumps_xlsx, "find_spec", lambda name: None)
    with pytest.raises(UnknownName, match=r"pip install greaseroute\[xlsx\]"):
        pumps_xlsx.pumps_xlsx(plan)


def test_times_are_of_the_day_planned_for():
    yard = sample.site()
    text = calls_ics(with_a_call(yard, event="turn"), yard)
    day = datetime.fromisoformat(sample.plan(yard).at).strftime("%Y%m%d")
    assert f"DTSTART:{day}T" in text
    assert "second person at the controls" in text.replace("\r\n ", "")
