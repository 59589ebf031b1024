"""Plans of small sites by the clock hold what they say: windows, zones, bags, guns part used."""

import pytest

from greaseroute.audit.audit import audit_round
from greaseroute.audit.basis import Asked
from greaseroute.rounds.planner import plan_round
from greaseroute.rounds.request import Effort, RoundRequest
from tests.audit.full_yard import full_plan, full_yard
from tests.rounds.small_sites import clock_site

FEW = Effort(1, iterations=300, prove=False)


def test_the_full_yard_has_no_finding():
    assert [f.line() for f in audit_round(full_yard(), full_plan()).findings] == []


@pytest.mark.parametrize("seed", range(8))
def test_no_finding_on_a_small_site(seed):
    small = clock_site(seed)
    wish = small.wish
    request = RoundRequest(wish.at, work=wish.work, finish_by=wish.finish_by)
    plan = plan_round(small.site, request, effort=FEW)
    asked = Asked(work=frozenset(wish.work), finish_by=wish.finish_by)
    found = audit_round(small.site, plan, asked=asked).findings
    # Two technicians of such a site may have the same gun, which a site folder cannot say.
    told = [f.line() for f in found if f.promise != "guns"]
    assert told == [], small.kind
