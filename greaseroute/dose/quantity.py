"""How much grease one fitting gets, in cm3."""

import math

from greaseroute.catalogue.joint import Dose
from greaseroute.units import g_to_cm3

HANDBOOK_G_PER_MM2 = 0.005
"""Regrease quantity, metric: G(g) = 0.005 x D(mm) x B(mm); rolling-bearing handbooks, as printed
in a trade journal (EP magazine, March 2020, p. 18). A web copy misprints 0.0005."""

HANDBOOK_OZ_PER_IN2 = 0.114
"""The inch form of the same rule: G(oz) = 0.114 x D(in) x B(in); 0.2 % above the metric one."""


def handbook_g(outside_mm: float, width_mm: float) -> float:
    """Regrease quantity in grams of a bearing of outside diameter and width in mm."""
    return HANDBOOK_G_PER_MM2 * outside_mm * width_mm


def handbook_oz(outside_in: float, width_in: float) -> float:
    """Regrease quantity in avoirdupois ounces of a bearing measured in inches."""
    return HANDBOOK_OZ_PER_IN2 * outside_in * width_in


def clearance_cm3(bore_mm: float, pin_mm: float, *, length_mm: float) -> float:
    """Volume in cm3 of the gap between a pin and its bush: the floor for any dose (geometry)."""
    return math.pi / 4 * (bore_mm**2 - pin_mm**2) * length_mm / 1000


def dose_cm3(dose: Dose, *, density_g_cm3: float) -> float:
    """Grease for each fitting in cm3: the least of a range, the handbook quantity for a pin.

    The least is taken because a technician sees fresh grease and goes on; what was pumped in
    excess cannot be taken back. ``density_g_cm3`` matters to the handbook quantity alone, which
    is a mass (see `handbook_g`; its diameter is the pin's, its width the pin's length).
    """
    if dose.cm3 is not None:
        return dose.cm3[0]
    if dose.strokes is not None and dose.stroke_cm3 is not None:
        return dose.strokes[0] * dose.stroke_cm3
    assert dose.pin_diameter_mm is not None
    assert dose.pin_length_mm is not None
    mass_g = handbook_g(dose.pin_diameter_mm, dose.pin_length_mm)
    return g_to_cm3(mass_g, density_g_cm3=density_g_cm3)
