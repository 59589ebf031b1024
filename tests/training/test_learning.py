"""Pace of a learner: floor at the standard time, both forms."""

import math

import pytest
from pydantic import ValidationError

from greaseroute.plan.learning import LearningCurve


def test_sixty_fittings_at_90_percent_stop_learning_at_the_standard_time():
    # standard 60 s, first 90 s: 1.5 x n^-0.152 is 1 at n = 1.5^(1/0.152) = 14.4: from 15 on 60 s
    curve = LearningCurve(rate=0.9, first=1.5)
    times = [60 * curve.factor(n) for n in range(1, 61)]
    assert times[0] == 90
    assert times[13] > 60
    assert times[14:] == [60] * 46
    no_floor = 90 * math.fsum(n**-0.15200309 for n in range(1, 61))
    assert sum(times) > no_floor


def test_times_never_rise():
    for form in ("unit", "cumulative average"):
        curve = LearningCurve(rate=0.8, first=3, form=form)
        factors = [curve.factor(n) for n in range(1, 200)]
        assert factors == sorted(factors, reverse=True)
        assert factors[-1] == 1.0


def test_the_average_form_is_faster_than_the_unit_form():
    # second time at 80 %: 60 % against 80 % of the first
    assert LearningCurve(rate=0.8, first=3, form="cumulative average").factor(2) == pytest.approx(
        1.8
    )
    assert LearningCurve(rate=0.8, first=3).factor(2) == pytest.approx(2.4)


def test_a_rate_above_one_is_refused():
    with pytest.raises(ValidationError, match="less than or equal to 1"):
        LearningCurve(rate=1.2)
