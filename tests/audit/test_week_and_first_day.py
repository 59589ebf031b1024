"""Weeks and first days that keep their promises, and one planted error after the other."""

from dataclasses import replace
from pathlib import Path

import pytest

from greaseroute.audit.due import wear
from greaseroute.audit.first_day import audit_first_day
from greaseroute.audit.week import audit_week
from greaseroute.forecast.round_planner import round_planner
from greaseroute.forecast.week import WeekSettings, plan_week, span_of
from greaseroute.site.folder import read_site
from greaseroute.site.moment import time_of_day
from greaseroute.site.work_days import WorkDays
from greaseroute.training.choice import DaySettings
from greaseroute.training.day import pairing
from greaseroute.training.first_day import plan_first_day
from tests.forecast.hour_by_hour import varied
from tests.site_maker import write_random_site

YARD = read_site(Path(__file__).parents[2] / "sites_demo" / "three_machines")


def _week(site, *, mornings=7, plan=None, at=None):
    span = span_of(site, at or site.planned_for, mornings=mornings, settings=WeekSettings(weeks=20))
    return plan_week(span, plan=plan)


@pytest.fixture(scope="module")
def week():
    return _week(YARD, plan=round_planner(YARD, seed=1))


@pytest.fixture(scope="module")
def first():
    settings = DaySettings()
    return plan_first_day(YARD, YARD.planned_for, pair=pairing(YARD), settings=settings)


def promises(report):
    return {finding.promise for finding in report.findings}


def test_a_good_week_has_no_findings(week):
    assert audit_week(YARD, week).findings == ()


@pytest.mark.parametrize("seed", range(6))
def test_weeks_of_random_sites_have_none(seed, tmp_path):
    site = varied(read_site(write_random_site(tmp_path / "s", seed)), seed)
    week = _week(site, mornings=(1, 7, 14)[seed % 3])
    now = replace(site)
    assert audit_week(now, week).findings == ()


def with_morning(week, number, **update):
    """The week with one morning changed."""
    mornings = list(week.mornings)
    mornings[number] = mornings[number].model_copy(update=update)
    return week.model_copy(update={"mornings": tuple(mornings)})


def _without_one(week):
    """A daily joint left off its second morning."""
    daily = next(s for s in week.mornings[1].services if s.interval == "10 h")
    kept = tuple(s for s in week.mornings[1].services if s != daily)
    return with_morning(week, 1, services=kept)


def _twice(week):
    services = week.mornings[0].services
    return with_morning(week, 0, services=(*services, services[0]))


def _too_early(week):
    """A joint of 50 h greased again the morning after."""
    first = next(s for s in week.mornings[0].services if s.interval == "50 h")
    again = first.model_copy(update={"used": 0.16, "backlog": False})
    return with_morning(week, 1, services=(*week.mornings[1].services, again))


WEEKS = {
    "tolerance": _without_one,
    "twice": _twice,
    "shares": lambda w: with_morning(
        w,
        1,
        services=tuple(s.model_copy(update={"used": 0.95}) for s in w.mornings[1].services),
    ),
    "sums": lambda w: with_morning(
        w, 0, strokes={g: n + 1 for g, n in w.mornings[0].strokes.items()}
    ),
    "account": lambda w: with_morning(
        w, 0, cartridges={g: n + 1 for g, n in w.mornings[0].cartridges.items()}
    ),
    "guns": lambda w: with_morning(w, 1, guns={g: n + 300 for g, n in w.mornings[1].guns.items()}),
    "hours": lambda w: w.model_copy(
        update={"hours": tuple(h.model_copy(update={"mean_h": 7.0}) for h in w.hours)}
    ),
    "joints": lambda w: with_morning(
        w,
        0,
        services=(
            w.mornings[0].services[0].model_copy(update={"joint": "no such"}),
            *w.mornings[0].services[1:],
        ),
    ),
}


@pytest.mark.parametrize("promise", WEEKS)
def test_a_planted_error_of_a_week_is_found(promise, week):
    assert promise in promises(audit_week(YARD, WEEKS[promise](week)))


def test_a_joint_greased_the_morning_after_is_too_early(week):
    found = [f.what for f in audit_week(YARD, _too_early(week)).findings]
    assert any(what.startswith("is greased at 16 %") for what in found)


def test_a_morning_on_a_day_off_is_found(week):
    off = replace(YARD, work_days=WorkDays(("sun",)))
    assert "calendar" in promises(audit_week(off, week))


def test_a_technician_who_is_back_too_late_is_found(week):
    early = replace(YARD, shift_start="05:03")
    assert "shift" in promises(audit_week(early, week))


def test_an_order_that_holds_too_little_is_found(week):
    line = week.orders[0]
    from greaseroute.plan.week import Pack

    pack = (Pack(count=1, size_kg=0.4, word="cartridge"),)
    short = line.model_copy(update={"need": 2, "packs": pack})
    wrong = week.model_copy(update={"orders": (short,)})
    assert "orders" in promises(audit_week(YARD, wrong))


def test_a_good_first_day_has_no_findings(first):
    assert audit_first_day(YARD, first).findings == ()


def with_stop(first, number, **update):
    """The day with one stop changed."""
    stops = list(first.stops)
    stops[number] = stops[number].model_copy(update=update)
    return first.model_copy(update={"stops": tuple(stops)})


DAYS = {
    "people": lambda d: d.model_copy(update={"mentor": d.learner}),
    "stops": lambda d: d.model_copy(update={"stops": d.stops[::-1]}),
    "lessons": lambda d: with_stop(
        d, 0, lessons=tuple(x.model_copy(update={"nth": 3}) for x in d.stops[0].lessons)
    ),
    "pace": lambda d: with_stop(d, 0, shown_s=0.0),
    "window": lambda d: d.model_copy(update={"window_min": 5.0}),
    "sums": lambda d: d.model_copy(update={"learner_min": 1.0}),
    "pairs": lambda d: d.model_copy(
        update={"choice": d.choice.model_copy(update={"covered": d.choice.covered + 1})}
    ),
    "order": lambda d: with_stop(d, 0, difficulty=9.0),
    "clock": lambda d: with_stop(d, 1, arrive=d.stops[0].leave),
}


@pytest.mark.parametrize("promise", DAYS)
def test_a_planted_error_of_a_first_day_is_found(promise, first):
    assert promise in promises(audit_first_day(YARD, DAYS[promise](first)))


def test_a_learner_at_a_machine_that_has_left_is_found(first):
    """The day was planned with RB-1 there all morning; it leaves at 05:08."""
    units = tuple(
        u.model_copy(update={"parked_to_clock": time_of_day("05:08")}) if u.unit == "RB-1" else u
        for u in YARD.units
    )
    report = audit_first_day(replace(YARD, units=units), first)
    told = [f.what for f in report.findings if f.promise == "windows"]
    assert any(what.startswith("at the learner's pace: is worked on when") for what in told)


def test_a_day_that_ends_after_the_shift_has_started_is_found(first):
    report = audit_first_day(replace(YARD, shift_start="05:12"), first)
    assert any("at the learner's pace: is back after" in f.what for f in report.findings)


def test_the_joints_of_an_attachment_of_the_shelf_wear_too():
    quarry = read_site(Path(__file__).parents[2] / "sites_demo" / "quarry_ruttersby")
    found = wear(quarry, quarry.planned_for)
    carriers = [unit for unit in quarry.units if unit.attachments]
    owed = {(u.unit, j.name) for u in carriers for j in _pumped(quarry.machine(u).joints)}
    bare = {(u.unit, j.name) for u in carriers for j in _pumped(quarry.types[u.type].joints)}
    assert owed > bare
    assert owed <= set(found)


def _pumped(joints):
    return [joint for joint in joints if joint.by_hand and joint.interval is not None]
