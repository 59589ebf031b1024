"""Plans of small sites against every order, every way and every sequence of stands, gone through.

All 200 sites of each kind: ``python -m tests.bench.enumeration``.
"""

import pytest

from greaseroute.rounds.prepare import prepare
from tests.rounds.every_order import is_small
from tests.rounds.small_sites import alone_site, compared

SITES = 49  # seven sizes on each of seven kinds of ground


@pytest.mark.parametrize("seed", range(SITES))
def test_no_order_and_no_way_is_quicker_than_the_plan(seed):
    found, best = compared(alone_site(seed))
    assert found <= best  # by the clock fewer cartridges may do than the enumeration allows for


@pytest.mark.parametrize("seed", [5, 6, 12, 20, 33])
def test_no_order_is_quicker_where_one_has_to_wait_for_units(seed):
    found, best = compared(alone_site(seed, windows=True))
    assert found <= best  # by the clock fewer cartridges may do than the enumeration allows for


def test_most_units_are_small_enough_for_every_sequence_of_stands():
    visits = [
        visit
        for seed in range(14)
        for small in [alone_site(seed)]
        for outlook in prepare(small.site, small.wish, progress=lambda text: None).outlooks
        for visit in outlook.visits.values()
    ]
    assert len(visits) > 50
    assert sum(map(is_small, visits)) > 0.9 * len(visits)
