"""Plans of small sites by the clock against every order of every way.

All 300: ``python -m tests.bench.enumeration --kind clock --sites 300``.
"""

import pytest

from tests.rounds.small_sites import by_the_clock, clock_site

SITES = 60
# One machine that comes later, with a joint that nobody reaches: waiting, any way in will do.
FOUND_ONCE = (250,)


@pytest.mark.parametrize("seed", [*range(SITES), *FOUND_ONCE])
def test_no_plan_ends_later_than_the_best_there_is_and_no_bound_is_above_it(seed):
    small = clock_site(seed)
    plan, found, best = by_the_clock(small)
    # A bag too small for a unit may serve more of it than the levels that are gone through.
    assert found <= best, small.kind
    if plan.bound.no_sooner_s is not None and found.lost == best.lost:
        assert 1000 * plan.bound.no_sooner_s <= best.last_ms + 1e-6
