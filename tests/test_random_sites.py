"""A hundred random sites of every breadth: what the audit says of each plan.

A thousand more: ``python -m tests.bench.audit_sites``.
"""

from collections import Counter
from collections.abc import Iterator

import pytest

from tests.broad_sites import Audited, audited

SITES = 100
# Promises that the planner is known to break at present; a list that has to become empty.
BEING_MENDED = {
    "certificate": "the value is not the plan's own clock",
    "bag": "reserves alone may fill the bag; the search counts cartridges by strokes",
    "stores": "visits to a store that load nothing",
    "clock": "waits at the start of a leg and not where it opens",
    "due": "a joint listed as left out whole and by its fittings",
    "shift": "late by the clock",
    "windows": "late by the clock",
    "sums": "walking times of a leg over a change of hours",
    "reasons": "no time where it is the bag, hidden where a place is free",
    "no plan": "no way after the last change of hours",
}


@pytest.fixture(scope="module")
def seen() -> Iterator[Counter[str]]:
    """What the sites held together: a run that planned nothing would prove nothing."""
    counts: Counter[str] = Counter()
    yield counts
    if counts["sites"] == SITES:
        assert counts["fittings"] > 20 * SITES
        for what in ("left", "deck", "turn", "posture", "reload", "wait", "slow", "slope",
                     "timed", "several", "replaced", "window"):  # fmt: skip
            assert counts[what] > 0, what


@pytest.mark.parametrize("seed", range(SITES))
def test_every_plan_is_true(seed: int, seen: Counter[str], tmp_path) -> None:
    found: Audited = audited(tmp_path, seed)
    seen["sites"] += 1
    seen.update(found.holds)
    assert [f.line() for f in found.findings if f.promise not in BEING_MENDED] == []
