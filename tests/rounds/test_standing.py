"""What rounds on one site share, and orders that are judged from where they begin to differ."""

from datetime import timedelta
from pathlib import Path

import numpy as np
import pytest

import greaseroute.rounds.standing as standing_module
from greaseroute.rounds.clock import clocks_of
from greaseroute.rounds.planner import plan_round
from greaseroute.rounds.prepare import prepare
from greaseroute.rounds.ready_team import build_team
from greaseroute.rounds.request import Effort, RoundRequest
from greaseroute.rounds.sharing import _one_moved
from greaseroute.rounds.standing import MOST_GROUNDS, Standing
from greaseroute.site.crew import WorkingRules
from greaseroute.site.folder import read_site
from greaseroute.site.morning import morning_of
from tests.rounds.yards import AT, random_yard, technician

YARD = Path(__file__).parents[2] / "sites_demo" / "three_machines"
SHORT = Effort(iterations=100, prove=False)


def counted(monkeypatch):
    """Grounds laid and machines closed from now on."""
    made = []
    for name in ("stances_now", "closed_ground"):
        own = getattr(standing_module, name)
        monkeypatch.setattr(
            standing_module, name, lambda x, own=own, name=name: made.append(name) or own(x)
        )
    return made


def test_rounds_that_share_what_stands_are_those_planned_one_by_one():
    site = read_site(YARD)
    mornings = [site.planned_for + timedelta(days=k) for k in (0, 1, 3)]
    shared = Standing(site)
    for at in mornings:
        alone = plan_round(site, RoundRequest(at), effort=SHORT)
        beside = plan_round(site, RoundRequest(at), effort=SHORT, standing=shared)
        assert beside.model_dump_json() == alone.model_dump_json()


def test_machines_are_placed_once_for_all_mornings(monkeypatch):
    made = counted(monkeypatch)
    site = read_site(YARD)
    shared = Standing(site)
    plan_round(site, RoundRequest(site.planned_for), effort=SHORT, standing=shared)
    first = made.count("closed_ground")
    assert made.count("stances_now") == 1
    assert first >= len(site.units)
    plan_round(site, RoundRequest(site.planned_for), effort=SHORT, standing=shared)
    assert made.count("stances_now") == 1
    assert made.count("closed_ground") == first


def test_the_same_ground_is_laid_once_and_only_some_are_kept():
    site = read_site(YARD)
    shared, morning = Standing(site), morning_of(site, site.planned_for)
    one, again = shared.yard(shared.now, morning), shared.yard(shared.now, morning)
    assert one.grounds[0][1] is again.grounds[0][1]
    for unit in (u for u in site.units for _ in range(MOST_GROUNDS)):
        shared.yard({unit.unit: Standing(site).now[unit.unit]}, morning)
    assert len(shared._grounds) == MOST_GROUNDS
    assert shared.yard(shared.now, morning).grounds[0][1] is not one.grounds[0][1]


@pytest.mark.parametrize("seed", range(3))
def test_an_order_judged_from_where_it_differs_is_judged_the_same(seed):
    """Every move of one halt: the finish of the whole run, or never, and then none before its own.

    Guns that run dry on the way make orders differ in more than their walks.
    """
    rules = WorkingRules(posture_moves=False)
    site = random_yard(np.random.default_rng(seed), 7, rules=rules, technicians=(technician(),))
    team = build_team(prepare(site, RoundRequest(AT), progress=lambda _: None))
    (clock,) = clocks_of(team)
    row = [next(w for w, unit in enumerate(team.ways.way_unit) if unit == k)
           for k in range(len(team.ways.units))]  # fmt: skip
    own = clock.run(row)
    judged = list(_one_moved(clock, tuple(row)))
    assert len(judged) == len(row) * (len(row) - 1)
    assert sum(ms < own for ms, _ in judged) > 0
    for ms, halts in judged:
        whole = clock.run(halts)
        assert ms == whole or (ms > whole >= own)
