"""A hundred random site folders: what every plan must keep, checked from the raw files."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from greaseroute.due.worklist import work_list
from greaseroute.plan.round import RoundPlan
from greaseroute.rounds.planner import plan_round
from greaseroute.rounds.request import RoundRequest
from greaseroute.site.folder import read_site
from tests.plan_checks import (
    assert_due_served_or_listed,
    assert_in_reach,
    assert_paths_are_free,
    assert_strokes_and_cartridges,
)
from tests.site_maker import write_random_site

SITES = 100


@pytest.fixture(scope="module")
def seen() -> Iterator[dict[str, int]]:
    """What the hundred sites held together: a run that planned nothing would prove nothing."""
    counts = {"sites": 0, "legs": 0, "pumped": 0, "left": 0}
    yield counts
    assert counts["sites"] >= SITES
    assert counts["legs"] > 20 * SITES
    assert counts["pumped"] > 10 * SITES
    assert counts["left"] > 0


@settings(
    max_examples=SITES,
    deadline=None,
    derandomize=True,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)
@given(seed=st.integers(0, 2**32 - 1))
def test_every_plan_is_true(seed: int, seen: dict[str, int], tmp_path_factory) -> None:
    folder: Path = write_random_site(tmp_path_factory.mktemp("site"), seed)
    site = read_site(folder)
    assert site.planned_for is not None
    plan: RoundPlan = plan_round(site, RoundRequest(site.planned_for))
    due = {
        (item.unit, item.joint): {f.name for f in _joint(site, item.unit, item.joint).fittings}
        for item in work_list(site, site.planned_for)
        if item.due
    }
    legs = assert_paths_are_free(plan, folder)
    assert_due_served_or_listed(plan, due)
    pumped = assert_in_reach(plan, folder)
    assert_strokes_and_cartridges(plan, folder)
    seen["sites"] += 1
    seen["legs"] += legs
    seen["pumped"] += pumped
    seen["left"] += len(plan.left)


def _joint(site, unit: str, joint: str):
    (found,) = [u for u in site.units if u.unit == unit]
    return site.types[found.type].joint(joint)
