"""Packs by their true sizes."""

from itertools import product

import pytest

from greaseroute.forecast.packs import packs_for


def test_sixty_cartridges_of_85_grams_are_sixty():
    (pack,) = packs_for(60 * 0.085, (0.085,))
    assert (pack.count, pack.size_kg, pack.word) == (60, 0.085, "cartridge")


@pytest.mark.parametrize("need_g", [1, 399, 400, 401, 1200, 5100, 6430])
def test_least_surplus_then_fewest_packs_of_any_choice(need_g):
    sizes = (85, 400, 1000)
    best = min(
        (sum(n * s for n, s in zip(counts, sizes, strict=True)) - need_g, sum(counts))
        for counts in product(range(90), range(18), range(8))
        if sum(n * s for n, s in zip(counts, sizes, strict=True)) >= need_g
    )
    packs = packs_for(need_g / 1000, tuple(s / 1000 for s in sizes))
    surplus = round(sum(p.count * p.size_kg for p in packs) * 1000) - need_g
    assert (surplus, sum(p.count for p in packs)) == best
