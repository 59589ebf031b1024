"""Unit-form learning-curve factors as printed in tables.

Sources: tables of this form in RAND RM-6191/2 (70 to 85 % slopes, 1970) and textbooks; textbook
values .634 (90 %, n = 20) and .583 (85 %, n = 10): solution manual
978-0078024108 ch. 7S; 250 h at 85 %, 15 units: exercise 1496212 at solutioninn.com. Both forms and
the 80 % figures: maxwideman.com, appendix 2.
"""

import math

import pytest

from greaseroute.plan.learning import (
    LearningCurve,
    average_form_average,
    average_form_unit,
    unit_factor,
)

RATES = (0.70, 0.75, 0.80, 0.85, 0.90, 0.95)
EXPONENTS = (-0.5146, -0.4150, -0.3219, -0.2345, -0.1520, -0.0740)
TABLE = """
1 1/1 1/1 1/1 1/1 1/1 1/1
2 .7000/1.7000 .7500/1.7500 .8000/1.8000 .8500/1.8500 .9000/1.9000 .9500/1.9500
3 .5682/2.2682 .6338/2.3838 .7021/2.5021 .7729/2.6229 .8462/2.7462 .9219/2.8719
4 .4900/2.7582 .5625/2.9463 .6400/3.1421 .7225/3.3454 .8100/3.5562 .9025/3.7744
5 .4368/3.1950 .5127/3.4591 .5956/3.7377 .6857/4.0311 .7830/4.3392 .8877/4.6621
8 .3430/4.3031 .4219/4.8022 .5120/5.3459 .6141/5.9358 .7290/6.5737 .8574/7.2612
10 .3058/4.9318 .3846/5.5886 .4765/6.3154 .5828/7.1161 .7047/7.9945 .8433/8.9545
20 .2141/7.4065 .2884/8.8284 .3812/10.4849 .4954/12.4023 .6342/14.6078 .8012/17.1302
50 .1336/12.3069 .1972/15.7761 .2838/20.1217 .3996/25.5131 .5518/32.1420 .7486/40.2239
"""
ROWS = [line.split() for line in TABLE.split("\n") if line]


@pytest.mark.parametrize("row", ROWS, ids=lambda row: f"n={row[0]}")
def test_to_the_printed_digits(row):
    n = int(row[0])
    for rate, cell in zip(RATES, row[1:], strict=True):
        unit, cumulative = cell.split("/")
        assert round(unit_factor(n, rate=rate), 4) == float(unit)
        together = math.fsum(unit_factor(k, rate=rate) for k in range(1, n + 1))
        assert round(together, 4) == float(cumulative)


def test_exponents():
    found = [round(LearningCurve(rate=rate).exponent, 4) for rate in RATES]
    assert found == list(EXPONENTS)


def test_textbook_values():
    assert round(unit_factor(20, rate=0.90), 3) == 0.634
    assert round(unit_factor(10, rate=0.85), 3) == 0.583


def test_published_exercise():
    together = math.fsum(unit_factor(k, rate=0.85) for k in range(1, 16))
    assert 250 * together == pytest.approx(2_465.3, abs=0.05)


def test_the_two_forms_by_their_names():
    """80 %, cumulative average: average of two 80 %, second unit 60 %, average of four 64 %."""
    assert average_form_average(2, rate=0.8) == pytest.approx(0.80)
    assert average_form_unit(2, rate=0.8) == pytest.approx(0.60)
    assert average_form_average(4, rate=0.8) == pytest.approx(0.64)
    assert unit_factor(2, rate=0.8) == pytest.approx(0.80)
    assert LearningCurve().form == "unit"
