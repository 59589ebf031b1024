"""Windows of services: derived by hand, and a property over random fleets."""

from itertools import product

import numpy as np
import pytest

from greaseroute.forecast.calendar import plan_calendar
from greaseroute.forecast.simulation import expected_mornings
from greaseroute.forecast.windows import Tolerance, due_services, wear_days
from tests.forecast.fleets import MONDAY, hours_of, ones, random_fleet, rows_of


def _services(joints, *, mean_h=9.0, days=7, ahead_h=0.0, **tolerance):
    calendar = plan_calendar(MONDAY, days)
    rows, hours = rows_of(joints), hours_of((mean_h, 0))
    rates = ones(1, calendar)
    due = expected_mornings(rows, calendar, day_hours=hours, rates=rates, ahead_h=ahead_h)
    wear = wear_days(rows, calendar, mean_h=np.array([mean_h]), rates=rates)
    return due_services(rows, due, wear=wear, tolerance=Tolerance(**tolerance))


def test_fifty_hours_at_nine_a_day():
    # used 20 of 50: mornings at 20, 29, 38, 47, 56: due on morning 4 (56 >= 50); early from 40 h:
    # morning 3 (47); late to 55 h would be morning 3, but its due morning is always allowed
    (service,) = _services([{"limit_h": 50, "since_h": 20}])
    assert (service.due, service.first, service.last) == (4, 3, 4)


def test_a_wider_tolerance_opens_more_mornings():
    # early from 25 h: morning 1 (29); late to 65 h: morning 5 (65)
    (service,) = _services([{"limit_h": 50, "since_h": 20}], early=0.5, late=0.3)
    assert (service.first, service.due, service.last) == (1, 4, 5)


def test_every_shift_keeps_to_its_days():
    found = _services([{"every_shift": True}], days=3)
    assert [(s.due, s.first, s.last) for s in found] == [(0, 0, 0), (1, 1, 1), (2, 2, 2)]


def test_days_have_windows_too():
    # 10 days, 6 passed: due on morning 4; early from 8 days: morning 2; late to 11: morning 5
    (service,) = _services([{"limit_days": 10, "since_days": 6}])
    assert (service.first, service.due, service.last) == (2, 4, 5)


def test_never_recorded_is_caught_up_over_the_first_mornings():
    (service,) = _services([{"limit_h": 500, "since_h": np.inf, "since_days": np.inf}])
    assert (service.first, service.last, service.backlog) == (0, 1, True)


def test_far_over_is_done_on_the_first_morning():
    (service,) = _services([{"limit_h": 500, "since_h": 800}])
    assert (service.first, service.last, service.backlog) == (0, 0, True)


def test_a_little_over_may_wait_while_its_tolerance_lasts():
    # 510 of 500 today, 519, 528, 537, 546 and 555 on the next: to 550 h is morning 4
    (service,) = _services([{"limit_h": 500, "since_h": 510}])
    assert (service.first, service.last, service.backlog) == (0, 4, False)


@pytest.mark.parametrize("seed", range(40))
def test_any_choice_inside_the_windows_is_neither_late_nor_early(seed):
    """Whatever mornings are chosen, no service is done beyond its tolerance unless that held on
    its due morning already, and none before it unless it was due then."""
    rows, calendar, day_hours, ahead_h = random_fleet(seed)
    mean_h = np.array([hours.mean_h for hours in day_hours])
    rates = ones(len(day_hours), calendar)
    due = expected_mornings(rows, calendar, day_hours=day_hours, rates=rates, ahead_h=ahead_h)
    wear = wear_days(rows, calendar, mean_h=mean_h, rates=rates)
    tol = Tolerance()
    services = due_services(rows, due, wear=wear, tolerance=tol)
    assert len(services) == due.sum()
    for row in range(len(rows)):
        mine = [s for s in services if s.row == row]
        if rows.every_shift[row]:
            continue
        for choice in product(*(range(s.first, s.last + 1) for s in mine)):
            assert list(choice) == sorted(set(choice))
            begun, due_begun = -1, -1
            for service, morning in zip(mine, choice, strict=True):
                share = wear.share(rows, row, begun=begun, morning=morning)
                on_due = wear.share(rows, row, begun=due_begun, morning=service.due)
                if not service.backlog:
                    assert share <= max(1 + tol.late, on_due) + 1e-9
                    assert share >= min(1 - tol.early, on_due) - 1e-9
                begun, due_begun = morning, service.due
