"""Packs of grease against the European pack standard as reported in Lube Report 3_103.

Six sizes from 0.4 to 180 kg. In pounds, 35, 120 and 400 lb are 15.88, 54.43 and 181.44 kg (1 lb is
0.45359237 kg exactly, international yard and pound agreement 1959).
"""

import pytest

from greaseroute.forecast.packs import pack_word, packs_for

LB_KG = 0.45359237
SIZES_KG = (0.4, 18.0, 50.0, 180.0)


def counts(need_kg, sizes=SIZES_KG):
    return {pack.size_kg: pack.count for pack in packs_for(need_kg, sizes)}


def test_a_pail_is_45_cartridges():
    assert counts(18.0) == {18.0: 1}
    assert counts(18.0, (0.4,)) == {0.4: 45}
    assert counts(17.9, (0.4,)) == {0.4: 45}


@pytest.mark.parametrize(
    ("kilograms", "word"),
    [(0.4, "cartridge"), (0.397, "cartridge"), (1.0, "tin"), (18.0, "pail"), (50.0, "keg"),
     (180.0, "drum"), (35 * LB_KG, "pail"), (120 * LB_KG, "keg"), (400 * LB_KG, "drum")],
)  # fmt: skip
def test_what_a_pack_is_called(kilograms, word):
    assert pack_word(kilograms) == word


@pytest.mark.parametrize("need_kg", [0.1, 0.4, 3.7, 17.7, 18.1, 36.5, 99.9, 180.0, 231.4])
def test_least_surplus_by_trying_all(need_kg):
    """Every count of each size up to the need, in grams: nothing gives less over."""
    found = counts(need_kg)
    total = sum(round(1000 * size) * n for size, n in found.items())
    need = round(1000 * need_kg)
    large = [
        18000 * pails + 50000 * kegs + 180000 * drums
        for pails in range(15)
        for kegs in range(6)
        for drums in range(3)
    ]
    cartridges = [max(0, -(-(need - grams) // 400)) for grams in large]
    best = min(g + 400 * c for g, c in zip(large, cartridges, strict=True) if g + 400 * c >= need)
    assert total >= need
    assert total == best
