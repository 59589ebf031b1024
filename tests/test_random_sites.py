"""A hundred random sites of every breadth: what the audit says of each plan.

A thousand more: ``python -m tests.bench.audit_sites``.
"""

from collections import Counter
from collections.abc import Iterator

import pytest

from tests.broad_sites import Audited, audited

SITES = 100
# Sites on which the audit once found something: a bag of one, somebody who sets off after the
# last one is back, waits before a crossing on slow ground and beside a road kept clear of, or at
# the edge of one on ground so slow that a millimetre takes milliseconds; a machine that leaves
# before the only crossing to it opens; a walk along the edge of a shut crossing; a technician who
# stands idle; one who leaves a machine seconds before it goes; a store visit on the way to another
# gate.
FOUND_ONCE = (1001, 1008, 1017, 1041, 1050, 2043, 2288, 2374, 2471, 2572, 2730)


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
    assert [f.line() for f in found.findings] == []


@pytest.mark.parametrize("seed", FOUND_ONCE)
def test_no_finding_where_there_was_one(seed: int, tmp_path) -> None:
    assert [f.line() for f in audited(tmp_path, seed).findings] == []
