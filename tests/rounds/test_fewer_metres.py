"""Ways exchanged for shorter ones by whoever is home before the last."""

from datetime import datetime

import numpy as np

import greaseroute.rounds.solve as solve
from greaseroute.rounds.planner import plan_round
from greaseroute.rounds.request import RoundRequest
from tests.rounds.yards import AT, random_yard, technician

PAIR = (technician(), technician("Bo", speed_m_s=0.8))


def told(plan):
    """Metres, last finish, and what is pumped by whom in which order of units."""
    finish = max(datetime.fromisoformat(t.finish) for t in plan.technicians)
    order = [[s.unit for s in t.stops] for t in plan.technicians]
    return sum(t.walk_m for t in plan.technicians), finish, order


def test_metres_fall_and_neither_the_last_finish_nor_the_order_changes(monkeypatch):
    sites = [random_yard(np.random.default_rng(seed), 5, technicians=PAIR) for seed in range(6)]
    after = [told(plan_round(site, RoundRequest(AT))) for site in sites]
    monkeypatch.setattr(solve, "with_fewer_metres", lambda schedule, team, last_ms: schedule)
    before = [told(plan_round(site, RoundRequest(AT))) for site in sites]
    for (m_after, finish_after, order), (m_before, finish_before, same) in zip(
        after, before, strict=True
    ):
        assert m_after <= m_before + 1e-6
        assert finish_after <= finish_before
        assert order == same
    saved = [b[0] - a[0] for a, b in zip(after, before, strict=True)]
    assert max(saved) > 0.5  # at least one of them has the time for a shorter way
