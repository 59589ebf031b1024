"""A whole week on the small yard, with a stand-in for the round engine and with the engine."""

import re
import shutil
from dataclasses import replace
from datetime import date, datetime
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from greaseroute.audit.due import owed
from greaseroute.cards.week_html import (
    machine_days,
    order_words,
    people,
    people_by_hour,
    week_html,
)
from greaseroute.cli.main import entry
from greaseroute.errors import UnknownName
from greaseroute.forecast.simulation import simulate
from greaseroute.forecast.week import WeekSettings, course_of, levelled, plan_week, span_of
from greaseroute.forecast.what_if import parse_what_if
from greaseroute.intervals.worklist import carried_note, work_list
from greaseroute.plan.round import Bound, LeftOut, RoundPlan, TechnicianPlan
from greaseroute.plan.week import TechnicianMorning, WeekPlan
from greaseroute.rounds.planner import plan_round
from greaseroute.rounds.request import Effort, RoundRequest
from greaseroute.site.folder import read_site
from greaseroute.site.morning import moment_for
from greaseroute.site.work_days import WorkDays

YARD = Path(__file__).parents[2] / "sites_demo" / "three_machines"


def one_by_one(plan):
    """Rounds planned one after the other by ``plan``."""
    return lambda asked: (plan(each.at, each.items) for each in asked)


@pytest.fixture(scope="module")
def yard():
    return read_site(YARD)


def _span(site, *, mornings=7, days_off=(), holidays=(), **settings):
    site = replace(site, work_days=WorkDays(days_off, tuple(holidays)))
    at = moment_for(site, None)
    return span_of(site, at, mornings=mornings, settings=WeekSettings(**settings))


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


class Short(Engine):
    """An arm that is too short for the joints of some items."""

    def __init__(self, for_item):
        super().__init__()
        self.for_item = for_item

    def __call__(self, at, items):
        plan = super().__call__(at, items)
        left = tuple(
            LeftOut(unit=i.unit, joint=i.joint, reason="arm 0.20 m too short")
            for i in items
            if self.for_item(i)
        )
        return plan.model_copy(update={"left": left})


def test_each_service_is_asked_of_one_morning(yard):
    engine, span = Engine(), _span(yard, weeks=50)
    week = plan_week(span, plan=one_by_one(engine))
    services = levelled(span, course_of(span)).services
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


def test_what_is_due_each_day_agrees_with_renewal_theory_on_the_yard(yard):
    """Without a plan: each joint on the day it falls due."""
    span = _span(yard, weeks=4000)
    drawn = _due_day(span, seed=1)
    week = plan_week(_span(yard, weeks=20), plan=None)
    assert drawn.services.sum(axis=1).mean() == pytest.approx(week.services_expected, rel=0.01)
    for grease in week.greases:
        g = drawn.greases.index(grease.grease)
        assert drawn.grams[:, :, g].sum(axis=1).mean() == pytest.approx(grease.expected_g, rel=0.01)


def _due_day(span, *, seed):
    return simulate(
        span.rows,
        span.calendar,
        day_hours=span.hours,
        rates=np.ones((len(span.hours), len(span.calendar))),
        ahead_h=0.0,
        weeks=span.settings.weeks,
        seed=seed,
    )


def test_the_forecast_is_the_plan_and_what_hours_add(yard):
    """One account: the rounds' own grams, and the spread about them."""
    week = plan_week(_span(yard, weeks=400), plan=None)
    (grease,) = week.greases
    planned = sum(s.strokes for m in week.mornings for s in m.services) * 0.9
    assert grease.planned_g == pytest.approx(planned)
    assert grease.grams.p10 <= grease.planned_g <= grease.grams.p90
    assert [q.p50 for q in grease.fan] == sorted(q.p50 for q in grease.fan)


def test_a_joint_at_80_per_cent_is_greased_before_it_is_at_160(yard):
    """Joints of 10 h at 8 h a day: each morning, never at 160 %."""
    week = plan_week(_span(yard, weeks=20), plan=None)
    used = [s.used for m in week.mornings for s in m.services if s.interval == "10 h" and s.after]
    assert set(used) == {0.8}
    assert week.cannot_keep == ()


def test_a_joint_that_no_morning_keeps_is_named(yard):
    """10 h at 13 h a day: at 130 % on every morning."""
    units = tuple(u.model_copy(update={"hours_per_day": 13.0}) for u in yard.units)
    week = plan_week(_span(replace(yard, units=units), weeks=20), plan=None)
    named = {(x.unit, x.joint) for x in week.cannot_keep}
    ten = {(s.unit, s.joint) for m in week.mornings for s in m.services if s.interval == "10 h"}
    assert named == ten
    assert named
    assert {x.used for x in week.cannot_keep} == {1.3}
    assert all("operator during the shift" in x.helps for x in week.cannot_keep)


def test_demand_for_ordering_is_the_same_for_any_mornings_and_that_of_the_long_run(yard):
    """EP 2 by hand: what falls due in the long run, whatever the mornings asked for."""
    demands = [
        plan_week(_span(yard, mornings=n, weeks=20), plan=None).orders[0].mean_a_day
        for n in (1, 7, 14)
    ]
    assert max(demands) - min(demands) < 1e-9
    rows = _span(yard).rows
    a_day = 0.0
    for row in range(len(rows)):
        days = [np.ceil(rows.limit_h[row] / 8) if np.isfinite(rows.limit_h[row]) else np.inf]
        days += [rows.limit_days[row]] + [1.0] * bool(rows.every_shift[row])
        a_day += rows.services[row].cartridges / min(days)
    assert demands[0] == pytest.approx(a_day, rel=0.06)  # hours vary by a quarter about 8 h


def test_what_a_morning_leaves_is_asked_of_the_next(yard):
    class Leaves(Engine):
        def __call__(self, at, items):
            plan = super().__call__(at, items)
            if len(self.asked) > 1:
                return plan
            left = tuple(
                LeftOut(unit=i.unit, joint=i.joint, reason="not enough time before the shift")
                for i in items[:2]
            )
            return plan.model_copy(update={"left": left})

    week = plan_week(_span(yard, weeks=20), plan=one_by_one(Leaves()))
    left = {(x.unit, x.joint) for x in week.mornings[0].left}
    assert len(left) == 2
    for number in (0, 1):
        done = {(s.unit, s.joint) for s in week.mornings[number].services}
        assert (left <= done) == (number == 1)
        assert not left & done or number == 1


def test_what_nobody_can_reach_is_told_once_and_asked_no_more(yard):
    week = plan_week(_span(yard, weeks=20), plan=one_by_one(Short(lambda i: i.unit == "BF-1")))
    assert {x.unit for x in week.mend_first} == {"BF-1"}
    assert len({(x.unit, x.joint) for x in week.mend_first}) == len(week.mend_first)
    assert all(not m.left for m in week.mornings)
    assert not any(s.unit == "BF-1" for m in week.mornings for s in m.services)


def test_the_same_week_twice_to_the_byte(yard):
    one, two = (plan_week(_span(yard, weeks=200), plan=one_by_one(Engine())) for _ in range(2))
    assert one.model_dump_json() == two.model_dump_json()
    assert week_html(one, yard) == week_html(two, yard)


def test_another_seed_draws_other_weeks(yard):
    one, two = (_due_day(_span(yard, weeks=200), seed=seed).grams for seed in (1, 2))
    assert not np.array_equal(one, two)


def _seven_days(tmp_path, *, head):
    """The yard with joints of 7 days, all greased on Monday 2 March, and more in its site.toml."""
    folder = tmp_path / "site"
    shutil.copytree(YARD, folder)
    for file in (folder / "types").glob("*.toml"):
        text = re.sub(r"interval = .*", "interval = { days = 7 }", file.read_text())
        file.write_text(text)
    meters = (("BF-1", 1052), ("RB-1", 412), ("BF-2", 2022))
    rows = [f"{unit},7 days,2026-03-02T06:00,{meter_h}" for unit, meter_h in meters]
    (folder / "last_services.csv").write_text("\n".join(["unit,joint,at,meter_h", *rows]) + "\n")
    toml = (folder / "site.toml").read_text()
    (folder / "site.toml").write_text(toml.replace("[rules]", f"{head}\n\n[rules]", 1))
    return folder


@pytest.mark.parametrize("day", [6, 7, 8, 9])
def test_a_day_off_is_passed_over_and_days_are_counted_to_the_morning_worked(day, tmp_path):
    """Asked on Friday, on either day of the weekend, or on Monday: due on Monday 9."""
    folder = _seven_days(tmp_path, head='days_off = ["sat", "sun"]')
    args = ["week", str(folder), "--out", str(tmp_path / "o"), "--at", f"2026-03-0{day}T05:00"]
    entry([*args, "--mornings", "4", "--weeks", "2"])
    week = WeekPlan.model_validate_json((tmp_path / "o" / "week.json").read_text())
    services = [(m.at[:10], s.due) for m in week.mornings for s in m.services]
    assert len(services) == len({(s.unit, s.joint) for m in week.mornings for s in m.services})
    assert {due for _, due in services} == {"2026-03-09"}
    assert {on for on, _ in services} <= {"2026-03-06", "2026-03-09"}
    site = read_site(folder)
    monday = datetime(2026, 3, 9, 5, tzinfo=ZoneInfo(site.time_zone))
    assert sum(item.due for item in work_list(site, monday)) == len(services)


def test_due_looks_over_the_weekend_as_the_week_does(tmp_path):
    """On Friday what falls due on Sunday is due, since nobody comes before Monday."""
    head = 'days_off = ["sat", "sun"]\nholidays = [2026-03-09]'
    site = read_site(_seven_days(tmp_path, head=head))
    looks = replace(site, rules=site.rules.model_copy(update={"look_ahead_h": 1.0}))
    friday = datetime(2026, 3, 6, 5, tzinfo=ZoneInfo(site.time_zone))
    assert sum(item.due for item in work_list(looks, friday)) == 7
    every_day = replace(looks, work_days=WorkDays())
    assert sum(item.due for item in work_list(every_day, friday)) == 0
    assert all(v.due for each in owed(looks, friday).values() for v in each.values())
    assert not any(v.due for each in owed(every_day, friday).values() for v in each.values())


def test_meters_do_not_run_on_days_off(tmp_path):
    """From Tuesday 3 March to Monday 9: six days of 8 h, or four with the weekend off."""
    site = read_site(_seven_days(tmp_path, head='days_off = ["sat", "sun"]'))
    monday = datetime(2026, 3, 9, 5, tzinfo=ZoneInfo(site.time_zone))
    every_day = replace(site, work_days=WorkDays())
    notes = [carried_note(s, monday) for s in (site, every_day)]
    assert "96 h of 3 units" in notes[0]
    assert "144 h of 3 units" in notes[1]


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


def test_the_page_tells_people_machines_and_what_to_mend_once(yard):
    week = plan_week(
        _span(yard, weeks=20), plan=one_by_one(Short(lambda i: i.joint == "take-up slide"))
    )
    page = week_html(week, yard)
    # The two feeders with the same fault are told of together.
    assert page.count("<b>BF-1, BF-2</b> take-up slide: arm 0.20 m too short") == 1
    assert page.count("arm 0.20 m too short") == 1
    rows = dict(machine_days(week))
    assert sum(map(sum, rows.values())) == sum(len(m.services) for m in week.mornings)
    assert people(week) == [("Imke", [""] * 7)]
    assert "About the minutes as walked nothing is proved" in page or "in the table" in page


def test_people_by_the_hour():
    folder = YARD
    week = plan_week(_span(read_site(folder), weeks=5), plan=None)
    one = TechnicianMorning(
        name="A", walk_min=1, wait_min=0, work_min=1, walk_m=1, strokes=3,
        start="2026-03-03T05:40:00+01:00", finish="2026-03-03T06:10:00+01:00",
    )  # fmt: skip
    late = one.model_copy(update={"name": "B", "start": "2026-03-03T06:05:00+01:00"})
    morning = week.mornings[0].model_copy(update={"technicians": (one, late)})
    told = week.model_copy(update={"mornings": (morning,)})
    assert people_by_hour(told) == [("05:00", [1]), ("06:00", [2])]
    assert people(told) == [("A", ["05:40-06:10"]), ("B", ["06:05-06:10"])]
