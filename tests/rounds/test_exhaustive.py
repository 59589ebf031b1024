"""Plans of small sites against every order of units and every way in and out, gone through.

The enumeration takes the stands from the package and everything else anew: walks from the
ground's own distances, the tours inside a unit from all of its ways, none dropped.
"""

from datetime import datetime

import numpy as np
import pytest

from greaseroute.rounds.planner import plan_round
from greaseroute.rounds.prepare import Wish, prepare
from greaseroute.rounds.unit_tours import all_ways
from tests.rounds.yards import AT, random_yard, some_work, technician

SITES = 40
SPEED = 1.2


def cheapest_ms(site, work):
    """The least time from start to finish, cartridge changes left out, over every order."""
    ready = prepare(site, Wish(AT, work), progress=lambda text: None)
    (outlook,) = ready.outlooks
    visits = list(outlook.visits.values())
    ground = ready.yard.grounds[0][1]
    start = [(p.point.x, p.point.y) for p in site.ground.places if p.name == "store"]
    feet = start + [node.foot_m for visit in visits for node in visit.nodes]
    walk = np.ceil(ground.distances_m(np.asarray(feet)) / SPEED * 1000 - 1e-6).astype(np.int64)
    first = 1 + np.cumsum([0, *(len(v.nodes) for v in visits)])[:-1]
    ways = []
    for visit, offset in zip(visits, first, strict=True):
        all_of_it = [
            (w.enter + offset, w.leave + offset, visit.total_ms(w)) for w in all_ways(visit.tour)
        ]
        ways.append(tuple(np.asarray(column) for column in zip(*all_of_it, strict=True)))
    return _best(walk, ways, np.zeros(1, np.int64), np.zeros(1, np.int64), set(range(len(ways))))


def _best(walk, ways, at, cost, left):
    """Every continuation: ``cost`` of standing at each of ``at`` with ``left`` still to visit."""
    if not left:
        return int((cost + walk[at, 0]).min())
    found = []
    for unit in left:
        enter, leave, spent = ways[unit]
        arrive = (cost[:, None] + walk[np.ix_(at, enter)]).min(axis=0) + spent
        found.append(_best(walk, ways, leave, arrive, left - {unit}))
    return min(found)


def took_ms(plan):
    """Time from start to finish less the cartridge changes (90 s each)."""
    (walk,) = plan.technicians
    gap = datetime.fromisoformat(walk.finish) - datetime.fromisoformat(walk.start)
    changes = sum(f.put_in for s in walk.stops for v in s.stands for f in v.fittings)
    return round(gap.total_seconds() * 1000) - 90_000 * changes


@pytest.mark.parametrize("seed", range(SITES))
def test_no_order_and_no_way_is_quicker_than_the_plan(seed):
    rng = np.random.default_rng(seed)
    count = [1, 2, 3, 4, 5, 6, 7][seed % 7]
    site = random_yard(rng, count, technicians=(technician(speed_m_s=SPEED),))
    work = some_work(site, rng)
    plan = plan_round(site, at=AT, work=work)
    assert took_ms(plan) == cheapest_ms(site, work)
    assert plan.bound.gap_pct == 0.0
