"""Weeks of random sites beside a walk hour by hour that shares nothing with the planner."""

import pytest

from greaseroute.forecast.week import WeekSettings, plan_week, span_of
from greaseroute.site.folder import read_site
from tests.forecast.hour_by_hour import LeavesOut, faults, first_day_off, varied
from tests.site_maker import write_random_site


def week_of(site, *, mornings, plan, at=None):
    at = at or site.planned_for
    span = span_of(site, at, mornings=mornings, settings=WeekSettings(weeks=2, levelling_work=0.05))
    return plan_week(span, plan=plan)


def told(site, seed, mornings):
    """Faults of a week whose rounds leave nothing out, some for want of time, some for good."""
    plan = (None, LeavesOut(seed, 0.2, 0.0), LeavesOut(seed, 0.1, 0.01))[seed % 3]
    at = first_day_off(site) if seed % 2 else None
    return faults(site, week_of(site, mornings=mornings, plan=plan, at=at))


@pytest.mark.parametrize("seed", range(12))
def test_no_joint_is_out_of_tolerance_unnamed_forgotten_or_twice(seed, tmp_path):
    site = varied(read_site(write_random_site(tmp_path / "s", seed)), seed)
    assert told(site, seed, (1, 7, 14)[seed % 3]) == []


def test_over_two_months_too(tmp_path):
    site = varied(read_site(write_random_site(tmp_path / "s", 3)), 3)
    assert told(site, 4, 60) == []
