"""Reasons of what is left out: each is disproved where it does not hold, and only there."""

import pytest

from greaseroute.audit.audit import audit_round
from greaseroute.audit.basis import Asked
from greaseroute.rounds.planner import plan_round
from greaseroute.rounds.request import Effort, RoundRequest
from tests.rounds.yards import AT, GREASES, GUNS, technician, unit, yard

RESERVOIR = ("U-1", "central lubrication reservoir")  # 300 cm3: 215 strokes; prefers no moly
WORK = (RESERVOIR, ("U-1", "bucket pins"))


def reservoir_site(*, plain_g: float):
    """A bag of four; cartridges of plain grease hold ``plain_g``, those of moly grease plenty."""
    greases = tuple(
        g.model_copy(update={"cartridge_g": 500.0 if g.moly else plain_g, "reserve_cartridges": 0})
        for g in GREASES
    )
    guns = tuple(g.model_copy(update={"left_strokes": 0, "hose_m": 0.6}) for g in GUNS)
    ada = technician(guns=("second", "lever"), bag_cartridges=4)
    loader = unit(1, "wheel-loader-30t-central", 60, 60)
    return yard([loader], greases=greases, guns=guns, technicians=(ada,))


def planned(site):
    return plan_round(site, RoundRequest(AT, work=WORK), effort=Effort(1, iterations=50))


def told(site, plan):
    asked = Asked(work=frozenset(WORK))
    return [f.line() for f in audit_round(site, plan, asked=asked).findings]


@pytest.fixture(scope="module")
def too_little():
    """60 g are 47 strokes: the reservoir would take five of them."""
    return planned(reservoir_site(plain_g=60.0))


def test_the_bag_is_counted_for_the_gun_that_is_taken(too_little):
    """The moly gun would need one cartridge, and is not the one that the joint prefers."""
    (left,) = [x for x in too_little.left if x.joint == RESERVOIR[1]]
    assert "more cartridges than a full bag holds" in left.reason
    assert told(reservoir_site(plain_g=60.0), too_little) == []


def test_a_bag_that_holds_enough_is_found(too_little):
    """The same plan where a cartridge holds ten times as much."""
    (line,) = [x for x in told(reservoir_site(plain_g=600.0), too_little) if RESERVOIR[1] in x]
    assert "room for 4" in line
