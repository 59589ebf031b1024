"""Reach and body movements against published body sizes and work measurement.

British adults 19 to 65, shoulder to grip 5th / 50th / 95th: men 610 / 665 / 715 mm, women 555 / 600
(table read in excerpts); overhead grip 5th percentile woman 1790 mm with 25 mm of shoes (from
memory). MTM-1, 1 TMU = 0.00001 h = 0.036 s (data card 2019): bend and arise 60.9, both knees and
arise 146.1 (Maynard, Stegemerten and Schwab 1948, from memory).
"""

import numpy as np
import pytest

from greaseroute.site.reach import Reach
from greaseroute.stands.reach import BANDS, band_numbers, band_seconds

TMU_S = 0.036


def test_the_default_arm_is_that_of_the_middle_woman():
    assert 0.555 < Reach().arm_m <= 0.600


def test_kneeling_and_bending_take_what_the_card_says():
    seconds = dict(zip(BANDS, band_seconds(Reach()), strict=True))
    assert seconds["kneel"] == pytest.approx(146.1 * TMU_S, abs=0.3)
    assert seconds["stoop"] == pytest.approx(60.9 * TMU_S, abs=0.3)


@pytest.mark.parametrize(
    ("height_m", "band"),
    [(0.10, "kneel"), (0.30, "kneel"), (0.45, "stoop"), (1.20, "stand"), (1.75, "overhead"),
     (1.815, None)],
)  # fmt: skip
def test_bands_end_where_the_smallest_reach_ends(height_m, band):
    number = int(band_numbers(np.array([height_m]), Reach())[0])
    assert (BANDS[number] if number >= 0 else None) == band
