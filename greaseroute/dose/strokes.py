"""Strokes of the gun in hand: rounded up for each fitting, never on a total."""

import math

from greaseroute.catalogue.joint import Dose
from greaseroute.dose.quantity import dose_cm3
from greaseroute.site.crew import Grease, Gun
from greaseroute.units import g_to_cm3

WHOLE_SLACK = 1e-9
"""A dose that is a whole number of strokes but for rounding in the last digit stays whole."""


def stroke_cm3(gun: Gun, grease: Grease) -> float:
    """Volume in cm3 of one full stroke: measured, or from ten strokes weighed of ``grease``."""
    if gun.stroke_cm3 is not None:
        return gun.stroke_cm3
    assert gun.ten_strokes_g is not None
    return g_to_cm3(gun.ten_strokes_g / 10, density_g_cm3=grease.density_g_cm3)


def strokes(dose_cm3: float, *, stroke_cm3: float) -> int:
    """Full strokes that give at least ``dose_cm3``; at least one."""
    return max(1, math.ceil(dose_cm3 / stroke_cm3 - WHOLE_SLACK))


def fitting_strokes(dose: Dose, gun: Gun, grease: Grease) -> int:
    """Strokes of ``gun`` for each fitting that wants ``dose``."""
    wanted_cm3 = dose_cm3(dose, density_g_cm3=grease.density_g_cm3)
    return strokes(wanted_cm3, stroke_cm3=stroke_cm3(gun, grease))
