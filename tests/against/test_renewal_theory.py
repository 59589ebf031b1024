"""Expected services and grams against renewal theory.

Sources: counting process of a renewal (Ross, Introduction to Probability Models, from memory):
m(t)/t tends to 1/mean, m(t) = t/mean + (sd^2 - mean^2)/(2 mean^2) in the long run, and
m(t) = e^t - 1 for uniform (0,1) intervals. Deterministic counts are hand calculations.
"""

import math

import numpy as np
import pytest

from greaseroute.forecast.calendar import plan_calendar
from greaseroute.forecast.renewal import (
    expected_services,
)
from greaseroute.forecast.simulation import simulate
from greaseroute.site.work_days import WorkDays
from tests.forecast.fleets import MONDAY, hours_of, ones, random_fleet, rows_of


def test_grease_of_a_week():
    """20 fittings x 3 strokes x 1.28 g x 4.5 = 345.6 g; daily on five days 384.0 g."""
    ten_hours = 20 * 3 * 1.28 * 45 / 10
    assert ten_hours == pytest.approx(345.6)
    assert ten_hours / 400 == pytest.approx(0.864)
    calendar = plan_calendar(MONDAY, 5, work_days=WorkDays(("sat", "sun")))
    rows = rows_of([{"every_shift": True} for _ in range(20)])
    weeks = simulate(
        rows, calendar, day_hours=hours_of((9, 0)), rates=ones(1, calendar), ahead_h=0, weeks=3
    )
    assert weeks.grams.sum(axis=(1, 2)) == pytest.approx([384.0] * 3)
    assert weeks.grams.sum(axis=(1, 2))[0] / 400 == pytest.approx(0.960)


@pytest.mark.parametrize("span", [1.0, 0.5])
def test_uniform_intervals(span):
    """m(t) = e^t - 1: the same counting that the simulation rests on, 200,000 runs."""
    assert math.exp(span) - 1 == pytest.approx({1.0: 1.71828, 0.5: 0.64872}[span], abs=5e-6)
    rng = np.random.default_rng(4)
    sums = np.cumsum(rng.random((200_000, 12)), axis=1)
    counts = (sums <= span).sum(axis=1)
    error = counts.std(ddof=1) / math.sqrt(len(counts))
    assert abs(counts.mean() - (math.exp(span) - 1)) < 3 * error


@pytest.mark.parametrize("seed", range(50))
def test_simulated_weeks_agree_with_renewal_theory(seed):
    """Fifty random fleets: services and grams a week within three standard errors of the exact
    expectation; a fleet without spread agrees to the last digit."""
    rows, calendar, day_hours, ahead_h = random_fleet(seed)
    rates = ones(len(day_hours), calendar)
    weeks = simulate(
        rows, calendar, day_hours=day_hours, rates=rates, ahead_h=ahead_h, weeks=2_000, seed=seed
    )
    expected = expected_services(rows, calendar, day_hours=day_hours, ahead_h=ahead_h)
    grams = np.array([service.grams for service in rows.services])
    for drawn, mean in (
        (weeks.services.sum(axis=1), expected.sum()),
        (weeks.grams.sum(axis=(1, 2)), expected @ grams),
    ):
        error = drawn.std(ddof=1) / math.sqrt(len(drawn))
        assert abs(drawn.mean() - mean) <= 3 * error + 1e-6 * mean
