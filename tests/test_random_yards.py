"""A few random yards through the safety checks; 200 are in ``tests.bench.random_yards``."""

import pytest

from greaseroute.plan.round import RoundPlan
from tests.random_yards import checked, random_site
from tests.yard_checks import findings


@pytest.mark.parametrize("seed", range(4))
def test_nothing_is_found(seed):
    found, _ = checked(seed)
    assert found == []


def planned():
    """A yard whose plan calls somebody."""
    for seed in range(20):
        _, plan = checked(seed)
        if plan.people:
            return random_site(seed)[0], plan
    raise AssertionError("no yard with a call")


def test_the_checks_find_what_is_planted():
    site, plan = planned()
    assert findings(site, plan) == []
    nobody = site.__class__(**{**site.__dict__, "people": ()})
    assert any("is not of this site" in text for text in findings(nobody, plan))
    text = plan.model_dump_json().replace('"isolates":true', '"isolates":false')
    bare = RoundPlan.model_validate_json(text)
    assert any("not isolated" in text for text in findings(site, bare))
    wide = site.rules.model_copy(update={"swing_gap_m": 60.0, "clearance_m": 20.0})
    found = findings(site.__class__(**{**site.__dict__, "rules": wide}), plan)
    assert any("sweeps too near" in text for text in found)
    assert any("a leg to" in text for text in found)
