"""Conversions with their source, and the integer scales that solvers see."""

MS_PER_S = 1000
S_PER_H = 3600.0
S_PER_MIN = 60.0
M_PER_FT = 0.3048  # international foot, exact by definition (1959 agreement)
M_PER_MM = 0.001
G_PER_OZ = 28.349523125  # avoirdupois ounce, exact by definition
MM_PER_INCH = 25.4  # exact by definition
S_PER_TMU = 0.036  # 1 TMU = 0.00001 h (MTM-1 data card, 2019)
BAR_PER_PSI = 0.0689475729  # 1 lbf/in2, NIST SP 811


def ms(seconds: float) -> int:
    """Whole milliseconds, rounded half to even; what every solver in ``rounds`` counts in."""
    return round(seconds * MS_PER_S)


def seconds(milliseconds: int) -> float:
    """Seconds from whole milliseconds."""
    return milliseconds / MS_PER_S


def g_to_cm3(mass_g: float, *, density_g_cm3: float) -> float:
    """Volume in cm3 of a mass in grams."""
    return mass_g / density_g_cm3
