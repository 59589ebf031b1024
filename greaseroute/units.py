"""Conversions with their source, and the integer scales that solvers see."""

MS_PER_S = 1000
S_PER_H = 3600.0
S_PER_MIN = 60.0
M_PER_FT = 0.3048  # international foot, exact by definition (1959 agreement)
G_PER_OZ = 28.349523125  # avoirdupois ounce, exact by definition
MM_PER_INCH = 25.4  # exact by definition


def ms(seconds: float) -> int:
    """Whole milliseconds, rounded half to even; what every solver in ``rounds`` counts in."""
    return round(seconds * MS_PER_S)


def seconds(milliseconds: int) -> float:
    """Seconds from whole milliseconds."""
    return milliseconds / MS_PER_S


def g_to_cm3(mass_g: float, *, density_g_cm3: float) -> float:
    """Volume in cm3 of a mass in grams."""
    return mass_g / density_g_cm3
