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
    expected_on_meter,
    expected_services,
    renewals_long_run,
    renewals_of_normal,
    services_on_meter,
)
from greaseroute.forecast.simulation import draw_hours, simulate
from tests.forecast.fleets import MONDAY, hours_of, ones, random_fleet, rows_of


def test_deterministic_services_in_a_window():
    """45 h worked, every 10 h: 5 services with 7 h used, 4 with 2 h; mean over uniform use 4.5."""
    assert services_on_meter(7, 45, interval_h=10) == 5
    assert services_on_meter(2, 45, interval_h=10) == 4
    used = (np.arange(10_000) + 0.5) / 1_000
    counts = [services_on_meter(h, 45, interval_h=10) for h in used]
    assert np.mean(counts) == pytest.approx(4.5, abs=1e-9)


def test_grease_of_a_week():
    """20 fittings x 3 strokes x 1.28 g x 4.5 = 345.6 g; daily on five days 384.0 g."""
    ten_hours = 20 * 3 * 1.28 * 45 / 10
    assert ten_hours == pytest.approx(345.6)
    assert ten_hours / 400 == pytest.approx(0.864)
    calendar = plan_calendar(MONDAY, 5, days_off=("sat", "sun"))
    rows = rows_of([{"every_shift": True} for _ in range(20)])
    weeks = simulate(
        rows, calendar, day_hours=hours_of((9, 0)), rates=ones(1, calendar), ahead_h=0, weeks=3
    )
    assert weeks.grams.sum(axis=(1, 2)) == pytest.approx([384.0] * 3)
    assert weeks.grams.sum(axis=(1, 2))[0] / 400 == pytest.approx(0.960)


def test_ten_hours_and_uniform_use_come_to_the_hand_figure():
    """The same 20 fittings every 10 h on the meter, use spread evenly over the interval."""
    used = (np.arange(1_000) + 0.5) / 100
    mean = np.mean([expected_on_meter(h, interval_h=10, mean_h=9, sd_h=0, days=5) for h in used])
    assert 20 * 3 * 1.28 * mean == pytest.approx(345.6, abs=1e-6)


def test_elementary_renewal():
    """Mean 10, sd 2, span 45 from a fresh start: long-run formula 4.02, sum of normals 4.03."""
    assert renewals_long_run(10, 2, span=45) == pytest.approx(4.02, abs=0.005)
    assert renewals_of_normal(10, 2, span=45) == pytest.approx(4.03, abs=0.005)


def test_renewals_tend_to_the_rate():
    assert renewals_of_normal(10, 2, span=10_000) / 10_000 == pytest.approx(1 / 10, rel=1e-3)


@pytest.mark.parametrize("span", [1.0, 0.5])
def test_uniform_intervals(span):
    """m(t) = e^t - 1: the same counting that the simulation rests on, 200,000 runs."""
    assert math.exp(span) - 1 == pytest.approx({1.0: 1.71828, 0.5: 0.64872}[span], abs=5e-6)
    rng = np.random.default_rng(4)
    sums = np.cumsum(rng.random((200_000, 12)), axis=1)
    counts = (sums <= span).sum(axis=1)
    error = counts.std(ddof=1) / math.sqrt(len(counts))
    assert abs(counts.mean() - (math.exp(span) - 1)) < 3 * error


def test_gamma_days_on_the_meter_against_draws():
    hours = hours_of((9, 3))
    drawn = draw_hours(hours, weeks=40_000, days=5, rng=np.random.default_rng(2)).sum(axis=(1, 2))
    counts = np.floor((7 + drawn) / 10)
    expected = expected_on_meter(7, interval_h=10, mean_h=9, sd_h=3, days=5)
    assert abs(counts.mean() - expected) < 3 * counts.std(ddof=1) / math.sqrt(len(counts))


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
