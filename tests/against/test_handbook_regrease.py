"""Regrease quantity of bearings, metric and inch form, and the stroke count that follows.

Sources: G(g) = 0.005 x D x B, EP magazine, March 2020, p. 18, and "Bearing Relubrication Quantity
and Frequency Standard" (docest.com 396068); G(oz) = 0.114 x D x B, trade magazine article
machinerylubrication.com/Read/31524. Gun outputs 1.28 and 0.86 g a stroke: "Anatomy of a grease
gun", trade magazine, 2016. The misprint 0.0005: brighthub.com article 53663.
"""

import pytest

from greaseroute.catalogue.joint import Dose
from greaseroute.dose.quantity import (
    HANDBOOK_G_PER_MM2,
    clearance_cm3,
    dose_cm3,
    handbook_g,
    handbook_oz,
)
from greaseroute.dose.strokes import strokes
from greaseroute.units import G_PER_OZ, MM_PER_INCH


@pytest.mark.parametrize(
    ("outside_mm", "width_mm", "grams"),
    [(90, 23, 10.35), (110, 27, 14.85), (120, 29, 17.40), (140, 33, 23.10)],
)
def test_metric_form(outside_mm, width_mm, grams):
    assert handbook_g(outside_mm, width_mm) == pytest.approx(grams, abs=1e-9)


def test_inch_form_is_within_a_fifth_of_a_percent():
    grams = handbook_oz(90 / MM_PER_INCH, 23 / MM_PER_INCH) * G_PER_OZ
    assert grams == pytest.approx(10.37, abs=0.005)
    assert grams / 10.35 - 1 == pytest.approx(0.0019, abs=0.0001)


def test_the_misprinted_factor_is_refused_by_the_inch_form():
    """0.114 oz/in2 is 0.0050 g/mm2; ten times less cannot be the same rule."""
    metric = 0.114 * G_PER_OZ / MM_PER_INCH**2
    assert metric == pytest.approx(HANDBOOK_G_PER_MM2, rel=0.002)
    assert metric / 0.0005 > 9


@pytest.mark.parametrize(("stroke_g", "count"), [(1.28, 9), (0.86, 13)])
def test_strokes_for_the_90_by_23_bearing(stroke_g, count):
    # 10.35 / 1.28 = 8.09 -> 9; 10.35 / 0.86 = 12.03 -> 13; in cm3 at 0.9 g/cm3
    dose = Dose(pin_diameter_mm=90, pin_length_mm=23)
    wanted_cm3 = dose_cm3(dose, density_g_cm3=0.9)
    assert strokes(wanted_cm3, stroke_cm3=stroke_g / 0.9) == count


def test_clearance_of_a_pin_as_a_floor():
    # pi/4 x (80.5^2 - 80^2) x 100 = 6303 mm3 = 6.303 cm3 = 5.67 g -> 5 strokes of 1.28 g
    volume_cm3 = clearance_cm3(80.5, 80, length_mm=100)
    assert volume_cm3 == pytest.approx(6.303, abs=0.0005)
    assert volume_cm3 * 0.9 == pytest.approx(5.67, abs=0.005)
    assert strokes(volume_cm3, stroke_cm3=1.28 / 0.9) == 5
    pin = dose_cm3(Dose(pin_diameter_mm=80, pin_length_mm=100), density_g_cm3=0.9)
    assert pin > volume_cm3
