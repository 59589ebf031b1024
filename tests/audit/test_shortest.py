"""The audit's own shortest way, and the legs of plans beside it."""

import math

import pytest
from shapely.geometry import box

from greaseroute.audit.basis import Basis
from greaseroute.audit.case import Case
from greaseroute.audit.shortest import ShortestWays, length_m
from greaseroute.audit.tracks import Track, Walked
from greaseroute.rounds.planner import plan_round
from greaseroute.rounds.request import Effort, RoundRequest
from greaseroute.site.folder import read_site
from tests.audit.full_yard import full_plan, full_yard
from tests.broad_sites import write_broad_site


def test_round_a_square():
    """10 m to the corner of a 6 x 8 hole and on: 2 x hypot(8, 6), hand made."""
    ground = box(0, 0, 20, 20).difference(box(4, 6, 16, 14))
    way = ShortestWays(ground).way((10, 0), (10, 20))
    assert way is not None
    assert length_m(way) == pytest.approx(2 * math.hypot(6, 6) + 8)
    assert way[1] in {(4.0, 6.0), (16.0, 6.0)}


def test_no_way_through_a_wall():
    ground = box(0, 0, 20, 20).difference(box(-1, 9, 21, 11))
    assert ShortestWays(ground).way((10, 0), (10, 20)) is None


# Over slow ground the planner bends its ways at a mesh of points: at most this share longer.
MESH_SHARE = 0.0025


def _longer_legs(case: Case) -> tuple[int, list[str]]:
    """How many legs were looked at, and those that take longer than the audit's own way between
    their ends at the same pace. An own way over ground that is shut for hours says nothing.
    """
    ways, looked_at, told = ShortestWays(case.ground.free), 0, []
    for leg in case.legs:
        line = case.walked.tracks[leg.track].line
        own = ways.way(line[0], line[-1]) if len(line) > 1 else None
        if own is None:
            continue
        walked = Walked(case.basis, case.ground, (Track(leg.technician, 0, -1, own),))
        if any(step.shut for step in walked.steps(0)):
            continue
        looked_at += 1
        if case.walk_ms(leg.track) / 1000 > walked.walk_s[0] * (1 + MESH_SHARE) + 0.05:
            told.append(f"{leg.goal}: {case.walk_ms(leg.track):.0f} ms, own {walked.walk_s[0]} s")
    return looked_at, told


def test_no_leg_of_the_full_yard_is_longer_than_the_own_way():
    looked_at, longer = _longer_legs(Case(Basis(full_yard(), full_plan())))
    assert (looked_at >= 2, longer) == (True, [])


@pytest.mark.parametrize("seed", range(303, 309))
def test_no_leg_on_random_sites_is_longer_than_the_own_way(seed, tmp_path):
    site = read_site(write_broad_site(tmp_path / "site", seed))
    effort = Effort(1, iterations=300, prove=False)
    case = Case(Basis(site, plan_round(site, RoundRequest(site.planned_for), effort=effort)))
    assert _longer_legs(case)[1] == []
