"""A morning's round is asked for what the week planned it with, joint for joint."""

from dataclasses import replace
from pathlib import Path

import pytest

from greaseroute.audit.of_week import asked_by_week
from greaseroute.forecast.one_morning import morning_work
from greaseroute.forecast.week import WeekSettings, plan_week, span_of
from greaseroute.forecast.week_rounds import Asked
from greaseroute.plan.round import Bound, LeftOut, RoundPlan, TechnicianPlan
from greaseroute.site.fleet import LastService
from greaseroute.site.folder import read_site
from greaseroute.site.morning import moment_for
from tests.bench.week_mornings import inside_unwalked, unwalked
from tests.site_maker import write_random_site

YARD = Path(__file__).parents[2] / "sites_demo" / "three_machines"
BROKEN = "BF-1"
NO_BOUND = Bound(lower_s=0, value_s=0, gap_pct=None, what="none")


class Engine:
    """A round that reaches nothing at one unit, and remembers what it was asked for."""

    def __init__(self, short=()):
        self.asked, self.short = {}, short

    def __call__(self, some):
        for each in some:
            self.asked[each.at] = each.items
            at = each.at.isoformat()
            walk = TechnicianPlan(name="Imke", walk_m=1, walk_s=1, work_s=1, start=at, finish=at,
                                  path=(), stops=())  # fmt: skip
            left = tuple(LeftOut(unit=i.unit, joint=i.joint, reason="arm 0.20 m too short")
                         for i in each.items if i.unit in self.short)  # fmt: skip
            yield RoundPlan(site="yard", at=at, seed=1, shift_start=at, technicians=(walk,),
                            cartridges={}, left=left, bound=NO_BOUND)  # fmt: skip


def week_of(site, engine, mornings=7):
    span = span_of(site, moment_for(site, None), mornings=mornings,
                   settings=WeekSettings(weeks=2))  # fmt: skip
    return span, plan_week(span, plan=engine)


def after(site, span, week, day):
    """The site on a morning of the week, everything before done as planned and hours worked."""
    done = [
        LastService(unit=s.unit, joint=s.joint, at=span.calendar.mornings[d],
                    meter_h=meter(site, s.unit, d))
        for d, morning in enumerate(week.mornings[:day])
        for s in morning.services
    ]  # fmt: skip
    units = tuple(u.model_copy(update={"meter_h": meter(site, u.unit, day)}) for u in site.units)
    at = span.calendar.mornings[day]
    last = (*site.last_services, *done)
    return replace(site, units=units, last_services=last, planned_for=at, meter_readings=())


def meter(site, name, days):
    (unit,) = (u for u in site.units if u.unit == name)
    return unit.meter_h + days * unit.hours_per_day


def keys(items):
    """What the search of a round goes by."""
    return [(i.unit, i.joint, i.fittings, i.due_fittings, round(i.overdue_ratio, 6)) for i in items]


@pytest.mark.parametrize("day", range(1, 7))
@pytest.mark.parametrize("short", [(), (BROKEN,)])
def test_the_same_joints_fittings_and_weights_as_the_week_asked_for(day, short):
    site = read_site(YARD)
    engine = Engine(short)
    span, week = week_of(site, engine)
    at = span.calendar.mornings[day]
    work = morning_work(after(site, span, week, day), week, at)
    assert keys(work.items) == keys(engine.asked[at])
    assert bool(week.mornings[day].tried) == bool([i for i in engine.asked[at] if i.unit in short])


def test_what_is_to_be_mended_is_no_service_and_is_tried_where_the_week_tried_it():
    site = read_site(YARD)
    _, week = week_of(site, Engine((BROKEN,)))
    assert not [s for m in week.mornings for s in m.services if s.unit == BROKEN]
    assert {s.unit for m in week.mornings for s in m.tried} == {BROKEN}
    tried = {(s.unit, s.joint) for m in week.mornings for s in m.tried}
    assert tried == {(x.unit, x.joint) for x in week.mend_first}


def test_a_joint_that_has_worn_far_more_counts_by_its_own_hours():
    site = read_site(YARD)
    engine = Engine()
    span, week = week_of(site, engine)
    then = after(site, span, week, 1)
    hard = then.units[0].model_copy(update={"meter_h": then.units[0].meter_h + 200})
    worn = replace(then, units=(hard, *then.units[1:]))
    at = span.calendar.mornings[1]
    planned = {(i.unit, i.joint): i.overdue_ratio for i in engine.asked[at]}
    told = {(i.unit, i.joint): i.overdue_ratio for i in morning_work(worn, week, at).items}
    assert set(planned) <= set(told)
    assert {unit for unit, joint in set(told) - set(planned)} <= {hard.unit}
    mine = [key for key in planned if key[0] == hard.unit]
    assert all(told[key] > planned[key] + 1 for key in mine)
    assert len(mine) > 0
    assert all(told[k] == pytest.approx(planned[k]) for k in planned if k[0] != hard.unit)


def test_the_audit_lets_a_round_ask_for_what_the_week_tried():
    site = read_site(YARD)
    span, week = week_of(site, Engine((BROKEN,)))
    day = next(d for d, m in enumerate(week.mornings) if d and m.tried)
    then = after(site, span, week, day)
    (plan,) = Engine((BROKEN,))([Asked(span.calendar.mornings[day], ())])
    _, asked = asked_by_week(then, plan, week)
    assert {(s.unit, s.joint) for s in week.mornings[day].tried} <= asked.work


def test_by_the_hours_expected_the_mornings_come_to_the_strokes_of_the_week():
    site = read_site(YARD)
    _, week = week_of(site, None)
    strokes, planned = unwalked(site, week, None)
    assert sum(strokes.values()) > 0
    assert strokes == planned


@pytest.mark.parametrize("seed", [0, 1])
def test_by_other_hours_the_grams_lie_between_p10_and_p90(seed, tmp_path):
    """Sixteen weeks of twenty and more; joints that nobody recorded wait for the second morning."""
    site = read_site(write_random_site(tmp_path / "s", seed))
    span = span_of(site, moment_for(site, None), mornings=7, settings=WeekSettings(weeks=400))
    week = plan_week(span, plan=None)
    assert any(s.backlog for s in week.mornings[1].services)
    found = [inside_unwalked(site, week, draw) for draw in range(20)]
    fine = sum(all(low <= g <= high for low, g, high in each.values()) for each in found)
    assert fine >= 16
