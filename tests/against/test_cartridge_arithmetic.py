"""Cartridge arithmetic from the volume of 400 g of grease and the outputs of two kinds of gun.

Sources: density 0.85 to 0.95 g/cm3 of mineral-oil greases (greasedispensing.com density table);
1.28 g a stroke for a lever gun, 0.86 g for a pistol grip ("Anatomy of a grease gun", 2016), whose
strokes to the ounce and to 400 g are 22.1, 33.0, 312.5 and 465. Usable share 95 %: from memory.
"""

import math

import pytest

from greaseroute.dose.cartridges import cartridge_strokes, walk_cartridges
from greaseroute.site.crew import Grease, Gun
from greaseroute.units import G_PER_OZ, g_to_cm3

GREASE = Grease(name="EP2", nlgi="2", thickener="lithium", reserve_cartridges=1)


def _gun(stroke_g, **more):
    return Gun(name="g", grease="EP2", ten_strokes_g=10 * stroke_g, priming_strokes=0, **more)


def test_volume_of_400_g():
    assert g_to_cm3(400, density_g_cm3=0.9) == pytest.approx(444.4, abs=0.05)


@pytest.mark.parametrize(
    ("stroke_g", "to_400_g", "to_ounce"), [(1.28, 312, 22.1), (0.86, 465, 33.0)]
)
def test_strokes_of_a_whole_cartridge(stroke_g, to_400_g, to_ounce):
    whole = GREASE.model_copy(update={"usable_share": 1.0})
    assert cartridge_strokes(_gun(stroke_g), whole) == to_400_g
    assert G_PER_OZ / stroke_g == pytest.approx(to_ounce, abs=0.05)


def test_a_thousand_grams_open_three_cartridges():
    """Need 1,000 g in strokes of 1.28 g: ceil(1000 / 380) = 3 opened, changes at 296 and 592."""
    assert cartridge_strokes(_gun(1.28), GREASE) == 296
    tasks = [(1, "g")] * math.ceil(1000 / 1.28)  # 782 strokes
    run = walk_cartridges(tasks, guns=[_gun(1.28)], greases=[GREASE])
    changes = [i for i, put_in in enumerate(run.put_in) if put_in]
    assert changes == [0, 296, 592]
    assert (run.counts["EP2"].used, run.counts["EP2"].carry) == (3, 4)
    # 3 x 296 - 782 = 106 strokes left = 135.7 g; 140 g but for the share of a stroke in each
    # cartridge (296 x 1.28 = 378.9 g of 380) and the last stroke rounded up
    assert run.left_strokes["g"] * 1.28 == pytest.approx(140, abs=4.5)
