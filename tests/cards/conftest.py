"""The sample site and plan, built once."""

import pytest

from greaseroute.plan.round import RoundPlan
from greaseroute.site.model import Site
from tests.cards import sample


@pytest.fixture(scope="session")
def yard() -> Site:
    return sample.site()


@pytest.fixture(scope="session")
def plan(yard: Site) -> RoundPlan:
    return sample.plan(yard)
