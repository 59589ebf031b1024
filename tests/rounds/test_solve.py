"""Which of the plans found is taken, and the proof that goes on beside the rest."""

from dataclasses import replace

import numpy as np
import pytest

import greaseroute.rounds.solve as solve
import greaseroute.rounds.together as together
from greaseroute.rounds.clock import clocks_of
from greaseroute.rounds.prepare import prepare
from greaseroute.rounds.proof import Proof, relaxed_problem
from greaseroute.rounds.ready_team import build_team
from greaseroute.rounds.request import Effort, RoundRequest
from greaseroute.rounds.rounds import Units
from greaseroute.rounds.team import crew_problem
from greaseroute.rounds.together import by_the_clock, halts_of, solve_together
from greaseroute.solvers.vrp.solve import crew_plans
from tests.rounds.yards import AT, random_yard, technician

PAIR = (technician(), technician("Bo", speed_m_s=0.8))


def prepared(seed, units=10):
    site = random_yard(np.random.default_rng(seed), units, technicians=PAIR)
    return prepare(site, RoundRequest(AT, None, False, None, None), progress=lambda text: None)


def plans_of(ready):
    team = build_team(ready)
    problem = crew_problem(team, skip_loss=together.weights_of(team), keep=None)
    return team, problem, crew_plans(problem, exact=False, iterations=400)


def units_of(team, problem):
    return Units(team, problem.skip_loss.tolist(), problem.keep, problem.change_cost_ms)


@pytest.mark.parametrize("seed", range(4))
def test_the_plan_taken_ends_not_after_any_that_was_found_by_the_clock(seed):
    team, problem, plans = plans_of(prepared(seed))
    units, clocks = units_of(team, problem), clocks_of(team)
    found = [units.judged(clocks, halts_of(plan)) for plan in plans]
    assert len({rounds.last_ms for rounds in found}) > 1
    taken, _ = by_the_clock(clocks, units, [halts_of(plan) for plan in plans])
    assert (taken.late, taken.lost) == (0, 0)
    assert taken.last_ms <= min(rounds.last_ms for rounds in found)


def test_less_left_out_goes_before_an_early_end():
    team, problem, plans = plans_of(prepared(1))
    units = units_of(team, problem)
    whole = halts_of(plans[0])
    fewer = [row[:-1] for row in whole]
    judged = [units.judged(clocks_of(team), halts) for halts in (fewer, whole)]
    assert judged[0].last_ms < judged[1].last_ms
    assert min(judged, key=units.worth).halts == tuple(whole)


def test_proof_holds_for_every_plan():
    ready = prepared(2)
    effort = Effort(seed=1, iterations=300, limit_s=None)
    solved = solve_together(ready, build_team(ready), effort=effort, progress=lambda text: None)
    assert solved.bound.gap_pct is None
    bound = solved.proved()
    solved.proof.end()
    assert 0 < bound.lower_s <= bound.value_s
    team, problem, plans = plans_of(ready)
    units = units_of(team, problem)
    for plan in plans:  # what other searches come to is not below what was proved
        assert units.judged(clocks_of(team), halts_of(plan)).last_ms >= 1000 * bound.no_sooner_s


def test_a_proof_can_be_given_up():
    team, problem, (plan, *_) = plans_of(prepared(2))
    proof = Proof(relaxed_problem(problem, team), plan, team, limit_s=None)
    proof.end()
    proof.end()


def test_without_proof_none_is_begun():
    ready = prepared(3)
    quick = Effort(seed=1, iterations=300, limit_s=None, prove=False)
    solved = solve_together(ready, build_team(ready), effort=quick, progress=lambda text: None)
    assert solved.proof is None
    assert solved.bound.gap_pct is None


def test_no_tour_is_sought_where_the_work_alone_takes_longer_than_there_is():
    site = random_yard(np.random.default_rng(3), 6, technicians=(technician(),))
    ready = prepare(site, RoundRequest(AT, None, False, None, None), progress=lambda text: None)
    team = build_team(ready)
    ways, (member,) = team.ways, team.members
    work_ms = sum(
        min(ms for ms, unit in zip(ways.total_ms, ways.way_unit, strict=True) if unit == u)
        for u in range(len(ways.units))
    )
    for over_ms, fits in ((0, True), (-1, False)):
        end_ms = member.start_ms + int(work_ms) + over_ms
        short = replace(team, members=(replace(member, end_ms=end_ms),))
        assert solve.work_alone_fits(short) == fits


def test_no_tour_is_sought_where_the_bag_cannot_last(monkeypatch):
    site = random_yard(np.random.default_rng(3), 6, technicians=(technician(),))
    ready = prepare(site, RoundRequest(AT, None, False, None, None), progress=lambda text: None)
    team = build_team(ready)
    monkeypatch.setattr(solve, "capacity", lambda gun, site: 1)  # a cartridge for every stroke
    monkeypatch.setattr(solve, "bag", lambda technician, site: needed)
    guns = team.site.guns
    strokes = np.sum(
        [solve.strokes_of(v, [g.name for g in guns]) for v in team.ways.visits], axis=0
    )
    needed = sum(max(0, n - g.left_strokes) for n, g in zip(strokes, guns, strict=True))
    assert len(team.ways.visits) == len(team.ways.units)
    assert solve.work_alone_fits(team)
    needed -= 1
    assert not solve.work_alone_fits(team)
