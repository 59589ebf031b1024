"""The mornings that may follow a service: derived by hand, and a property over random fleets."""

import numpy as np
import pytest

from greaseroute.forecast.calendar import plan_calendar
from greaseroute.forecast.windows import BEFORE, CourseMaker, Tolerance, wear_days
from greaseroute.site.work_days import WorkDays
from tests.forecast.fleets import MONDAY, hours_of, ones, random_fleet, rows_of


def _maker(joint, *, mean_h=9.0, days=7, ahead_h=0.0, off=(), **tolerance):
    calendar = plan_calendar(MONDAY, days, work_days=WorkDays(off))
    rows = rows_of([joint])
    wear = wear_days(rows, calendar, mean_h=np.array([mean_h]), rates=ones(1, calendar))
    assert len(hours_of((mean_h, 0))) == 1
    return CourseMaker(rows, calendar, wear, Tolerance(**tolerance), ahead_h)


def _arcs(joint, *, begun=BEFORE, **settings):
    return _maker(joint, **settings).arcs(0, begun, first=begun + 1)


def test_fifty_hours_at_nine_a_day():
    # used 20 of 50: mornings at 20, 29, 38, 47, 56: due on morning 4, which is over 55 h (110 %);
    # early from 40 h: morning 3 (47) alone
    arcs = _arcs({"limit_h": 50, "since_h": 20})
    assert (arcs.to, arcs.due, arcs.over) == ((3,), 4, False)


def test_a_wider_tolerance_opens_more_mornings():
    # early from 25 h: morning 1 (29); late to 65 h: morning 5 (65)
    arcs = _arcs({"limit_h": 50, "since_h": 20}, early=0.5, late=0.3)
    assert (arcs.to, arcs.due) == ((1, 2, 3, 4, 5), 4)


def test_ten_hours_at_eight_a_day_is_greased_at_80_and_never_at_160():
    arcs = _arcs({"limit_h": 10, "since_h": 0}, mean_h=8.0)
    assert arcs.to == (0,) or arcs.to == (1,)
    assert _arcs({"limit_h": 10}, begun=0, mean_h=8.0).to == (1,)


def test_what_no_morning_keeps_is_over():
    # 6 h at 8 h a day: 133 % on the very next morning
    arcs = _arcs({"limit_h": 6}, begun=0, mean_h=8.0)
    assert (arcs.to, arcs.over) == ((1,), True)


def test_greased_before_its_tolerance_where_the_next_morning_is_over():
    # 12 h at 9 h a day: 75 % (before 80 %) on the next morning, 150 % on the one after
    arcs = _arcs({"limit_h": 12}, begun=0)
    assert (arcs.to, arcs.over) == ((1,), False)


def test_over_a_weekend_the_last_morning_before_it_is_taken():
    # 4 days: Monday, Tuesday ... Friday is 4 days on; with the weekend off Monday is 7 days on
    arcs = _arcs({"limit_days": 4}, begun=1, off=("sat", "sun"))
    assert arcs.to == (4,)  # Friday, 3 days on (75 %): the next, Monday, is 6 days on (150 %)


def test_what_is_over_on_the_morning_after_the_span_is_done_inside_it():
    # 10 h at 8 h a day, greased on morning 5 of 7: morning 6 is the last one, the next at 160 %
    assert _arcs({"limit_h": 10}, begun=5, mean_h=8.0).to == (6,)


def test_every_shift_keeps_to_its_days():
    maker = _maker({"every_shift": True}, days=3)
    assert [maker.arcs(0, b, first=b + 1).to for b in (BEFORE, 0, 1, 2)] == [(0,), (1,), (2,), (3,)]


def test_days_have_windows_too():
    # 10 days, 6 passed: due on morning 4; early from 8 days: morning 2; late to 11: morning 5
    arcs = _arcs({"limit_days": 10, "since_days": 6})
    assert (arcs.to, arcs.due) == ((2, 3, 4, 5), 4)


def test_never_recorded_is_caught_up_over_the_first_mornings():
    arcs = _arcs({"limit_h": 500, "since_h": np.inf, "since_days": np.inf})
    assert (arcs.to, arcs.backlog) == ((0, 1), True)


def test_far_over_is_done_on_the_first_morning():
    arcs = _arcs({"limit_h": 500, "since_h": 800})
    assert (arcs.to, arcs.backlog) == ((0,), True)


def test_a_little_over_is_caught_up_like_what_was_never_recorded():
    arcs = _arcs({"limit_h": 500, "since_h": 600}, catch_up=3)
    assert (arcs.to, arcs.backlog) == ((0, 1, 2), True)


@pytest.mark.parametrize("seed", range(60))
def test_along_every_path_no_joint_is_over_unless_it_says_so(seed):
    rows, calendar, day_hours, ahead_h = random_fleet(seed)
    mean_h = np.array([h.mean_h for h in day_hours])
    wear = wear_days(rows, calendar, mean_h=mean_h, rates=ones(len(day_hours), calendar))
    maker, tol, end = CourseMaker(rows, calendar, wear, Tolerance(), ahead_h), Tolerance(), 0
    for course in maker.courses(apart=True):
        for begun, arcs in course.arcs.items():
            share = wear.shares(rows, course.rows[0], begun=begun)
            assert list(arcs.to) == sorted(set(arcs.to))
            assert begun < arcs.to[0] <= arcs.to[-1] <= len(calendar)
            if not (arcs.over or arcs.backlog):
                assert share[arcs.to[-1]] <= 1 + tol.late + 1e-9
                end += 1
            if arcs.over:
                assert share[begun + 1] > 1 + tol.late
    assert end
