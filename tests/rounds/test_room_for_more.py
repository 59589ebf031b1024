"""What a short morning still has room for is done: joint after joint, until none fits any more."""

from dataclasses import replace
from datetime import datetime, timedelta

import pytest

from greaseroute.audit.audit import audit_round
from greaseroute.audit.basis import Asked
from greaseroute.rounds import solve
from greaseroute.rounds.clock import STORE, clocks_of
from greaseroute.rounds.mend_late import Mender
from greaseroute.rounds.planner import plan_round
from greaseroute.rounds.prepare import prepare
from greaseroute.rounds.ready_team import build_team
from greaseroute.rounds.request import RoundRequest
from greaseroute.rounds.rounds import Units
from greaseroute.rounds.same_halts import same_halts
from greaseroute.rounds.solve import work_alone_fits
from greaseroute.rounds.together import solve_together, weights_of
from greaseroute.rounds.why_left import MORE_ROOM, NO_CARTRIDGE
from greaseroute.walk.legs import NEVER
from tests.rounds.test_bags import STILL, served, small_bag
from tests.rounds.yards import AT, unit, yard


def joints_of(plan):
    return {f.joint for f in served(plan)}


@pytest.fixture(scope="module")
def loader():
    """A wheel loader, and how long all that is due on it takes."""
    site = yard([unit(1, "wheel-loader-20t", 60, 60)], rules=STILL)
    (walk,) = plan_round(site, RoundRequest(AT)).technicians
    return site, datetime.fromisoformat(walk.finish) - AT


@pytest.mark.parametrize(("share", "before", "now"), [(0.55, 1, 3), (0.7, 5, 7), (0.9, 10, 13)])
def test_a_joint_more_where_there_is_time_for_it(loader, share, before, now):
    """By quarters of the unit ``before`` joints; none can be added to the ``now`` with a second to
    spare (planned alone, other places to stand are tried: a walk may differ by centimetres)."""
    site, all_of_it = loader
    by = AT + timedelta(seconds=round(all_of_it.total_seconds() * share))
    plan = plan_round(site, RoundRequest(AT, finish_by=by))
    done = joints_of(plan)
    assert before < len(done) == now
    missed = {x.joint for x in plan.left if x.reason == "not enough time before the shift"}
    for joint in missed:
        work = tuple(("U-1", name) for name in (*done, joint))
        sooner = RoundRequest(AT, finish_by=by - timedelta(seconds=1), work=work)
        assert plan_round(site, sooner).left, joint


def two_loaders(left_strokes, *, bag):
    site = small_bag(left_strokes, bag=bag)
    return replace(site, units=(*site.units, unit(2, "wheel-loader-20t", 100, 60)))


def team_of(site, **request):
    return build_team(prepare(site, RoundRequest(AT, **request), progress=lambda _: None))


def test_a_unit_is_put_back_with_the_store_visit_that_it_takes():
    """Each of the two takes all that the bag holds: the second one is put in behind the store."""
    team = team_of(two_loaders(0, bag=6))
    (clock,) = clocks_of(team)
    of = [[w for w, row in enumerate(team.ways.way_unit) if row == k] for k in (0, 1)]
    tight = clock.with_room(min(clock.pumped(w, clock.start.left).put_in for w in of[0]))
    first = next(w for w in of[0] if tight.run([w]) < NEVER)
    assert all(tight.run([first, w]) >= NEVER for w in of[1])
    weights = weights_of(team)
    units = Units(team, [weights[u] for u in team.ways.units])
    found = Mender([tight], units).mended([(first,)])
    assert found.lost == units.least_lost
    assert sorted(h >= 0 for h in found.halts[0]) == [False, True, True]
    assert STORE in found.halts[0]


def test_where_only_the_bag_is_too_small_no_time_is_missed():
    """A cartridge for each of two loaders: hours are left, and it is not called a want of time."""
    site = two_loaders(20, bag=1)
    plan = plan_round(site, RoundRequest(AT))
    missed = [x for x in plan.left if x.reason == NO_CARTRIDGE]
    assert missed
    assert {x.helps for x in missed} == {MORE_ROOM}
    assert not [x for x in plan.left if "time" in x.reason]
    assert [f.line() for f in audit_round(site, plan, asked=Asked()).findings] == []


def test_halts_are_found_again_among_the_ways_of_another_team():
    site = two_loaders(200, bag=9)
    team, other = team_of(site), team_of(replace(site, units=site.units[::-1]))
    assert work_alone_fits(team)
    (clock,), (elsewhere,) = clocks_of(team), clocks_of(other)
    row = next(
        (a, STORE, b)
        for a, u in enumerate(team.ways.way_unit)
        for b, v in enumerate(team.ways.way_unit)
        if u != v and clock.run([a, STORE, b]) < NEVER
    )
    same = same_halts(team, [row], other=other)
    assert same is not None
    assert same[0] != row
    assert elsewhere.run(same[0]) == clock.run(row)
    less = team_of(site, work=[("U-1", "bucket pins")])
    assert same_halts(team, [row], other=less) is None


def test_a_search_that_knows_a_plan_loses_no_more_than_that(monkeypatch):
    """Sets of joints that a bag is enough for are made for one plan: the next search has them."""
    lost = []

    def searched(*args, **options):
        found = solve_together(*args, **options)
        lost.append(found.lost)
        return found

    monkeypatch.setattr(solve, "solve_together", searched)
    plan_round(two_loaders(20, bag=1), RoundRequest(AT, finish_by=AT + timedelta(seconds=981)))
    assert len(lost) >= 4
    assert lost == sorted(lost, reverse=True)
