"""A whole week on the small yard, with a stand-in for the round engine and with the engine."""

from dataclasses import replace
from datetime import date
from pathlib import Path

import numpy as np
import pytest

from greaseroute.cards.week_html import order_words, week_html
from greaseroute.errors import UnknownName
from greaseroute.forecast.calendar import plan_calendar
from greaseroute.forecast.week import WeekSettings, course_of, plan_week, span_of
from greaseroute.forecast.what_if import parse_what_if
from greaseroute.plan.round import Bound, RoundPlan, TechnicianPlan
from greaseroute.rounds.planner import plan_round
from greaseroute.rounds.request import Effort, RoundRequest
from greaseroute.site.folder import read_site
from greaseroute.site.morning import moment_for

YARD = Path(__file__).parents[2] / "sites_demo" / "three_machines"


def one_by_one(plan):
    """Rounds planned one after the other by ``plan``."""
    return lambda asked: (plan(at, items) for at, items in asked)


@pytest.fixture(scope="module")
def yard():
    return read_site(YARD)


def _span(site, *, mornings=7, days_off=(), holidays=frozenset(), **settings):
    at = moment_for(site, None)
    calendar = plan_calendar(at, mornings, days_off=days_off, holidays=holidays)
    return span_of(
        site,
        at,
        calendar=calendar,
        days_off=days_off,
        holidays=holidays,
        settings=WeekSettings(**settings),
    )


class Engine:
    """Stands in for the round engine: remembers what it was asked, walks a minute."""

    def __init__(self):
        self.asked = []

    def __call__(self, at, items):
        self.asked.append((at, items))
        technician = TechnicianPlan(
            name="Imke", walk_m=75, walk_s=60, work_s=120, start=at.isoformat(),
            finish=at.isoformat(), path=(), stops=(),
        )  # fmt: skip
        return RoundPlan(
            site="yard", at=at.isoformat(), seed=1, shift_start=at.isoformat(),
            technicians=(technician,), cartridges={},
            bound=Bound(lower_s=0, value_s=0, gap_pct=None, what="none"),
        )  # fmt: skip


def test_each_service_is_asked_of_one_morning(yard):
    engine, span = Engine(), _span(yard, weeks=50)
    week = plan_week(span, plan=one_by_one(engine))
    services = course_of(span).services
    asked = [(item.unit, item.joint, at.date()) for at, items in engine.asked for item in items]
    assert len(asked) == len(services) == len(set(asked))
    assert sum(len(m.services) for m in week.mornings) == len(services)
    for morning in week.mornings:
        for t in morning.technicians:
            assert (t.minutes, t.walk_m) == (3.0, 75.0)


def test_joints_come_with_a_reason_for_their_morning(yard):
    engine = Engine()
    plan_week(_span(yard, weeks=50), plan=one_by_one(engine))
    reasons = {item.reason for _, items in engine.asked for item in items}
    assert any("falls due this morning" in reason for reason in reasons)
    assert "never recorded" in reasons


def test_levelling_beside_due_days(yard):
    level = plan_week(_span(yard, weeks=50), plan=None).levelling
    assert level.lower_min <= level.longest_min <= level.due_day_longest_min
    assert level.gap_pct == pytest.approx(0.0, abs=0.01)
    assert level.shorter_pct == pytest.approx(
        100 * (1 - level.longest_min / level.due_day_longest_min), abs=0.2
    )


def test_simulated_services_agree_with_renewal_theory_on_the_yard(yard):
    week = plan_week(_span(yard, weeks=4000), plan=None)
    assert week.services_mean == pytest.approx(week.services_expected, rel=0.01)
    for grease in week.greases:
        assert grease.grams.p10 <= grease.grams.p50 <= grease.grams.p90
        assert grease.grams.mean == pytest.approx(grease.expected_g, rel=0.01)
        assert [q.p50 for q in grease.fan] == sorted(q.p50 for q in grease.fan)


def test_the_same_week_twice_to_the_byte(yard):
    one, two = (plan_week(_span(yard, weeks=200), plan=one_by_one(Engine())) for _ in range(2))
    assert one.model_dump_json() == two.model_dump_json()
    assert week_html(one, yard) == week_html(two, yard)


def test_another_seed_draws_other_weeks(yard):
    one = plan_week(_span(yard, weeks=200, seed=1), plan=None)
    two = plan_week(_span(yard, weeks=200, seed=2), plan=None)
    assert one.greases[0].grams != two.greases[0].grams


def test_days_off_move_the_mornings(yard):
    # planned for Tuesday 3 March 2026: 3, 4, 5, 6, then Monday 9 (a holiday here), 10, 11, 12
    span = _span(yard, days_off=("sat", "sun"), holidays=frozenset({date(2026, 3, 9)}), weeks=20)
    week = plan_week(span, plan=None)
    assert [m.at[8:10] for m in week.mornings] == ["03", "04", "05", "06", "10", "11", "12"]
    assert not any("--days-off" in note for note in week.notes)


def test_wet_days_ask_for_more_and_nothing_else_changes(yard):
    base = plan_week(_span(yard, weeks=500), plan=None)
    wet = plan_week(_span(yard, weeks=500, what_ifs=(parse_what_if("wet=5days"),)), plan=None)
    assert wet.what_if is not None
    assert wet.what_if.services_change > 0
    assert wet.what_if.what == ("wet for 5 days on every unit",)
    assert wet.mornings == base.mornings
    assert wet.greases == base.greases


def test_wet_twice_as_fast_halves_every_interval(yard):
    """Wet all along at half intervals is the same course as a site of half the intervals."""
    span = _span(yard, weeks=20)
    wet = course_of(span, what_ifs=(parse_what_if("wet=all"),))
    base = course_of(span)
    assert (wet.rates == 2.0).all()
    assert wet.wear.hours[-1] == pytest.approx(2 * base.wear.hours[-1])


def test_a_what_if_of_an_unknown_severity_is_told(yard):
    span = _span(yard, what_ifs=(parse_what_if("sleet=2days"),), weeks=20)
    with pytest.raises(UnknownName, match=r"severity 'sleet'; allowed: .*wet; add a \[\[severity"):
        plan_week(span, plan=None)


def test_a_what_if_for_an_unknown_unit_is_told(yard):
    span = _span(yard, what_ifs=(parse_what_if("QQ-1:wet=2days"),), weeks=20)
    with pytest.raises(UnknownName, match="unit 'QQ-1'"):
        plan_week(span, plan=None)


def test_orders_follow_stock(yard):
    told = tuple(g.model_copy(update={"stock_cartridges": 0.0}) for g in yard.greases)
    site = replace(yard, greases=told)
    empty = plan_week(_span(site, weeks=200), plan=None).orders[0]
    assert (empty.order_by, empty.need > 0) == ("2026-03-03", True)
    assert order_words(empty).endswith("by Tue 3")
    greases = tuple(g.model_copy(update={"stock_cartridges": 99.0}) for g in yard.greases)
    line = plan_week(_span(replace(yard, greases=greases), weeks=200), plan=None).orders[0]
    assert (line.order_by, line.need, line.packs) == (None, 0, ())


def test_where_nobody_told_the_stock_nothing_is_ordered_and_that_is_said(yard):
    line = plan_week(_span(yard, weeks=200), plan=None).orders[0]
    assert (line.stock, line.order_by, line.need, line.packs) == (None, None, 0, ())
    assert order_words(line) == (
        f"stock not told: count it (order at {line.reorder_level}, up to {line.up_to} cartridges)"
    )


def test_real_rounds_serve_what_each_morning_was_given(yard):
    """The engine itself: every service of a morning is pumped or left with a reason."""
    rounds = []

    def plan(at, items):
        rounds.append(
            (items, plan_round(yard, RoundRequest(at, work=items), effort=Effort(iterations=200)))
        )
        return rounds[-1][1]

    week = plan_week(_span(yard, weeks=20), plan=one_by_one(plan))
    for items, done in rounds:
        pumped = {
            (stop.unit, task.joint)
            for t in done.technicians
            for stop in t.stops
            for stand in stop.stands
            for task in stand.fittings
        }
        left = {(x.unit, x.joint) for x in done.left}
        assert {(item.unit, item.joint) for item in items} == pumped | left
    assert np.isclose(
        week.mornings[0].technicians[0].walk_m, rounds[0][1].technicians[0].walk_m, atol=0.1
    )


def test_the_page_says_what_the_record_holds(yard):
    week = plan_week(
        _span(yard, weeks=50, what_ifs=(parse_what_if("wet=5days"),)), plan=one_by_one(Engine())
    )
    page = week_html(week, yard)
    assert "wet for 5 days on every unit" in page
    assert f"{week.levelling.longest_min:.0f} minutes of all technicians together" in page
    assert page.count("<svg") == 1 + len(week.greases)
    assert "<script" not in page
