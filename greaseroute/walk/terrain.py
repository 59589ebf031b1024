"""Published walking speeds, slope and ground factors, each with its source."""

import math

from greaseroute.units import M_PER_FT

MUTCD_2009_M_S = 3.5 * M_PER_FT  # US MUTCD 2009: pedestrian clearance time
MUTCD_2003_M_S = 4.0 * M_PER_FT  # US MUTCD 2003: the same
MUTCD_2009_WHOLE_M_S = 3.0 * M_PER_FT  # US MUTCD 2009: walk and clearance time together
PREFERRED_M_S = 1.4  # preferred walking speed, about 5.0 km/h
STEEPEST = 0.5  # beyond this slope Tobler's function is not to be trusted
TOBLER_STEEP, TOBLER_SHIFT = 3.5, 0.05  # Tobler 1993: 6 exp(-3.5 |S + 0.05|) km/h
TOBLER_LEVEL_M_S = 6.0 * math.exp(-TOBLER_STEEP * TOBLER_SHIFT) / 3.6

# TIME factors (they divide the speed) after Herzog 2020, in Gillings et al., Archaeological Spatial
# Analysis, p. 340. They are not the energy factors of Soule & Goldman 1972 or Pandolf 1977.
TIME_FACTOR = {
    "blacktop, improved dirt path, cement": 1.00,
    "lawn grass": 1.03,
    "loose beach sand": 1.19,
    "disturbed ground (former stone quarry)": 1.24,
    "horse path, flat trails, meadow": 1.25,
    "tall grassland": 1.35,
    "open ground above tree line": 1.50,
    "bad trails, stony outcrop, river bed; off-path": 1.67,
    "bog": 1.79,
    "off-path below tree line": 2.00,
    "rock": 2.50,
    "swamp, water course": 5.00,
}


def tobler_m_s(slope: float, *, off_path: bool = False) -> float:
    """Walking speed on a slope (rise over run, signed along the walk), after Tobler 1993.

    W = 6 exp(-3.5 |S + 0.05|) km/h, times 0.6 off the path. Never capped: see ``is_too_steep``.
    """
    speed = 6.0 * math.exp(-TOBLER_STEEP * abs(slope + TOBLER_SHIFT)) / 3.6
    return 0.6 * speed if off_path else speed


def is_too_steep(slope: float) -> bool:
    """Whether a slope is steeper than Tobler's function was made for (1 in 2)."""
    return abs(slope) > STEEPEST


def crossing_clearance_s(length_m: float, *, speed_m_s: float = MUTCD_2009_M_S) -> int:
    """Whole seconds to clear a crossing on foot at a design speed, rounded up (US MUTCD)."""
    return math.ceil(length_m / speed_m_s - 1e-9)
