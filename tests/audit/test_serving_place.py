"""A place that serves a fitting after all counts with room to spare, and only so."""

from types import SimpleNamespace

import numpy as np
import pytest

from greaseroute.audit.places import Arm, _served
from greaseroute.site.reach import Reach
from tests.stands.boxes import fitting, machine, solid

FEET = np.asarray([(0.0, 0.8)])  # one place, 0.8 m before a fitting at the origin


def serves(solids, *, height_m: float, kneel_to_m: float = 0.3) -> bool:
    """Whether the place is told to serve a fitting so high, past some solids."""
    unit = SimpleNamespace(unit="U-1", posture="parked", x_m=0.0, y_m=0.0)
    case = SimpleNamespace(
        basis=SimpleNamespace(site=SimpleNamespace(units=(unit,))),
        machines=SimpleNamespace(placed={}),
    )
    arm = Arm("Ada", Reach(arm_m=0.6, shoulder_m=1.5, kneel_to_m=kneel_to_m), 0.3)
    pin = fitting("pin", (0.0, 0.0, height_m))
    return _served(case, machine(solids, [pin]), pin, arm=arm, feet=(FEET, 0.0)) is not None


@pytest.mark.parametrize(("width_m", "enough"), [(0.006, False), (0.012, True)])
def test_a_slit_must_leave_the_feet_a_centimetre_to_either_side(width_m, enough):
    """Half way to the fitting a slit of 6 mm leaves the feet 12 mm, one of 12 mm leaves 24 mm."""
    half_m = width_m / 2
    sides = [
        solid((-1.0, 0.39, 0.0), (-half_m, 0.41, 2.0)),
        solid((half_m, 0.39, 0.0), (1.0, 0.41, 2.0)),
    ]
    assert serves(sides, height_m=1.0) == enough


def test_at_the_limit_of_two_bands_it_must_be_seen_from_either_shoulder():
    """Kneeling the shoulder is 0.975 m up, stooping 1.125 m: the lines to a fitting 0.3 m up pass
    at 0.64 and 0.71 m half way. A plate 0.67 m high hides it from who kneels alone.
    """
    plate = [solid((-1.0, 0.39, 0.0), (1.0, 0.41, 0.67))]
    assert not serves(plate, height_m=0.3, kneel_to_m=0.3)
    assert not serves(plate, height_m=0.298, kneel_to_m=0.3)
    assert serves(plate, height_m=0.31, kneel_to_m=0.3)
    assert serves(plate, height_m=0.3, kneel_to_m=0.2)
