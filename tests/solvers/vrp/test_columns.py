"""The bound by whole rounds never passes the optimum, and sees that units and rounds are whole.

Optima come from the exact solver (held against an enumeration of its own in test_crew_exact) and
from every order of a single technician's units gone through here.
"""

from dataclasses import replace
from itertools import pairwise, permutations, product

import numpy as np
import pytest

from greaseroute.solvers.arrays import FAR
from greaseroute.solvers.stop import StopRule
from greaseroute.solvers.vrp.bound import _ways_like, route_part_ms
from greaseroute.solvers.vrp.columns import pricing
from greaseroute.solvers.vrp.columns.loop import ColumnGeneration, RoundsTask, whole_profits
from greaseroute.solvers.vrp.columns.network import types_of
from greaseroute.solvers.vrp.columns.ng_sets import NgSets
from greaseroute.solvers.vrp.columns.pricing import EXACT, HEURISTIC, NG_SIZE, TypePricing
from greaseroute.solvers.vrp.entry_exit_points import least_walk
from greaseroute.solvers.vrp.problem import CANNOT
from greaseroute.solvers.vrp.solve import solve_crew
from tests.solvers.vrp.crew_cases import ints, line_problem, random_problem


def task_of(problem, plan):
    who = ints([r.technician for r in plan.rounds if not r.reason])
    visited = sorted(v.way for r in plan.rounds for v in r.visits if v.kind == "unit")
    crew, part = route_part_ms(problem, plan, last_ms=plan.last_finish_ms)
    return RoundsTask(problem, who, _ways_like(problem, visited), plan, part / crew / 100.0)


def least_ms(problem, plan, *, iterations=40):
    return ColumnGeneration(task_of(problem, plan)).least(StopRule.after(iterations))


def unlike(rng, problem):
    """Technicians of different pace, start and end; some units only one of them can visit."""
    crew = problem.technicians
    work = (problem.way_ms * rng.uniform(0.6, 1.5, (crew, 1))).astype(np.int64)
    if crew > 1:
        work[int(rng.integers(crew)), problem.way_unit == 0] = CANNOT
    return replace(problem, way_ms=work, start_ms=rng.integers(0, 100_000, crew))


def with_small_bags(rng, problem):
    """Bags, guns and cartridges of each technician's own, and a second store."""
    crew, points = problem.technicians, problem.length_mm.shape[0]
    bag = rng.integers(1, 4, crew)
    return replace(
        problem,
        bag_cartridges=bag,
        bag_at_start=np.minimum(bag, rng.integers(0, 3, crew)),
        gun_left_strokes=rng.integers(0, 60, (crew, 2)),
        cartridge_strokes=rng.integers(40, 100, (crew, 2)),
        store_points=ints([problem.store_points[0], rng.integers(0, points)]),
    )


def one_way(rng, problem):
    """Legs that take up to half as long again in one direction, no triangle inequality."""
    more = rng.uniform(1.0, 1.5, problem.travel_ms.shape[1:])
    return replace(problem, travel_ms=(problem.travel_ms * more).astype(np.int64))


def fixed_to_one(rng, problem):
    whom = np.full(problem.units, -1, dtype=np.int64)
    whom[0] = rng.integers(problem.technicians)
    return replace(problem, unit_technician=whom)


def with_operators(rng, problem):
    """A second person is needed for some ways, at hand for part of the time."""
    begin = rng.integers(0, 300_000, problem.units)
    at_hand = np.stack([begin, begin + 800_000], axis=1)
    needs = rng.random(problem.ways) < 0.3
    return replace(problem, way_needs_second=needs, operator_ms=at_hand)


CASES = [
    # seed, units, technicians, rules of the random problem, what is done to it
    (1, 5, 2, {}, (unlike,)),
    (2, 6, 3, {}, ()),
    (3, 5, 3, {"windows": True}, (unlike,)),
    (4, 4, 2, {"bag": True}, (unlike, with_small_bags)),
    (5, 4, 3, {"bag": True}, (with_small_bags,)),
    (6, 4, 2, {"bag": True, "hours": True, "levels": True}, (unlike, with_small_bags)),
    (7, 5, 2, {"hours": True}, (unlike, one_way)),
    (8, 4, 3, {"levels": True, "windows": True}, (unlike, one_way)),
    (9, 5, 2, {}, (one_way, fixed_to_one)),
    (10, 5, 2, {}, (with_operators,)),
    (11, 4, 1, {"windows": True, "bag": True, "hours": True}, (with_small_bags, one_way)),
]


@pytest.mark.parametrize("ng_size", [2, NG_SIZE])
@pytest.mark.parametrize(("seed", "units", "technicians", "rules", "changes"), CASES)
def test_bound_is_not_above_the_optimum(
    seed, units, technicians, rules, changes, ng_size, monkeypatch
):
    # Small sets of units remembered: rounds come back to units, and dominance must bear it.
    monkeypatch.setattr(pricing, "NG_SIZE", ng_size)
    # A plan said to end later than it does leaves the bound room to be wrong in.
    rng = np.random.default_rng(seed)
    proved = 0
    for _ in range(3):
        problem = random_problem(rng, units=units, technicians=technicians, **rules)
        for change in changes:
            problem = change(rng, problem)
        best = solve_crew(problem)
        assert best.status == "optimal"
        if not any(v.kind == "unit" for r in best.rounds for v in r.visits):
            continue
        later = replace(best, last_finish_ms=round(1.2 * best.last_finish_ms) + 1000)
        for plan in (best, later):
            least = least_ms(problem, plan)
            assert least <= best.last_finish_ms
            proved += least > 0
    assert proved > 0


def least_profits(problem, kind, ways, profits):
    """The most profit by the time it takes, over every order of units and every way."""
    t = kind.technicians[0]
    walk, stops = least_walk(problem, t), sorted({int(problem.way_unit[w]) for w in ways})
    best = {}
    for count in range(1, len(stops) + 1):
        for order in permutations(stops, count):
            options = [[w for w in ways if problem.way_unit[w] == u] for u in order]
            for chosen in product(*options):
                at, time = int(problem.start_point[t]), int(problem.start_ms[t])
                for w in chosen:
                    opens, closes = problem.window_ms[problem.way_unit[w]]
                    time = max(time + int(walk[at, problem.way_enter[w]]), int(opens))
                    time += int(problem.way_ms[t, w])
                    time = FAR if time > closes or problem.way_ms[t, w] < 0 else time
                    at = int(problem.way_leave[w])
                time += int(walk[at, problem.finish_point[t]])
                gained = sum(int(profits[stops.index(u)]) for u in order)
                if time <= problem.end_ms[t]:
                    best[time] = max(best.get(time, 0), gained)
    return best


@pytest.mark.parametrize("rules", [{}, {"windows": True}])
@pytest.mark.parametrize("seed", range(4))
def test_exact_pricing_finds_the_best_round_of_every_time(seed, rules):
    # Sets of all units: rounds are elementary, and an enumeration tells the best of them.
    rng = np.random.default_rng(seed)
    problem = one_way(rng, random_problem(rng, units=4, technicians=1, **rules))
    ways = np.argsort(problem.way_unit, kind="stable")
    kind = types_of(problem, ints([0]), ways)[0]
    pricing = TypePricing(problem, kind, ways, stores=False)
    profits = rng.integers(1, 100, 4)
    table = least_profits(problem, kind, ways, profits)
    for finish in sorted(table)[:: max(1, len(table) // 25)]:
        most = max(gained for time, gained in table.items() if time <= finish)
        found = pricing.price(profits, least=most, finish_ms=finish, effort=EXACT)
        assert found.complete
        assert found.rounds[0].profit == most
        assert found.rounds[0].finish_ms <= finish
        more = pricing.price(profits, least=most + 1, finish_ms=finish, effort=EXACT)
        assert more.complete
        assert more.rounds == []


@pytest.mark.parametrize("seed", range(3))
def test_heuristic_pricing_proves_nothing_and_finds_real_rounds(seed):
    rng = np.random.default_rng(seed)
    problem = random_problem(rng, units=12, technicians=1)
    ways = np.argsort(problem.way_unit, kind="stable")
    kind = types_of(problem, ints([0]), ways)[0]
    pricing = TypePricing(problem, kind, ways, stores=False)
    profits = rng.integers(1, 100, 12)
    found = pricing.price(profits, least=1, finish_ms=900_000, effort=HEURISTIC)
    assert not found.complete
    for one in found.rounds:
        assert one.finish_ms <= 900_000
        assert one.profit == profits[list(one.units)].sum()
        assert pricing.allows(one.units)
        assert pricing.finish_ms(one.units) <= one.finish_ms
    exact = pricing.price(profits, least=1, finish_ms=900_000, effort=EXACT)
    assert found.rounds[0].profit <= exact.rounds[0].profit


def test_units_are_whole():
    # Four units 50 m off on four sides, three technicians: somebody visits two of them. All rounds
    # together take 4 x 110 s: on the mean 146.7 s.
    x, y = ints([50, -50, 0, 0, 0, 0]), ints([0, 0, 50, -50, 0, 0])
    metres = np.hypot(x[:, None] - x, y[:, None] - y)
    base = line_problem([1, 2, 3, 4], work_s=[10] * 4, technicians=3)
    problem = replace(
        base,
        travel_ms=np.tile(np.round(metres * 1000).astype(np.int64), (3, 1, 1)),
        length_mm=np.round(metres * 1000).astype(np.int64),
    )
    best = solve_crew(problem)
    # 50 out, 70.711 across, 50 back and 2 x 10 of work
    assert best.last_finish_ms == 190_711
    assert least_ms(problem, best) == 190_711


def test_waits_are_seen():
    # The far unit opens at 500 s, the near one closes at 40 s: whoever does both waits; 10 s of
    # work there and 20 s home. Without waits both would take 60 s.
    window = np.array([[0, 40_000], [500_000, 2**50]])
    problem = line_problem([10, 20], work_s=[10, 10], window_ms=window)
    assert least_ms(problem, solve_crew(problem)) == 530_000


def test_store_visit_of_the_plan_is_seen():
    # One cartridge for each of two units and one in the bag: to 10 m, back to the store at -30 m,
    # to 20 m and home: 10 + 40 + 50 + 20 s, 2 x 10 s of work, 5 s at the store.
    problem = line_problem(
        [10, 20],
        work_s=[10, 10],
        store_m=-30,
        bag_cartridges=ints([1]),
        way_strokes=ints([[50], [50]]),
        cartridge_strokes=ints([[50]]),
        reload_ms=5_000,
    )
    assert least_ms(problem, solve_crew(problem)) == 145_000


def test_steps_too_short_for_labels_prove_nothing():
    # No work and no way between two units: labels in order of time are not possible.
    problem = line_problem([10, 10, 30], work_s=[0, 0, 0])
    assert least_ms(problem, solve_crew(problem)) == 0


def test_bound_is_the_same_every_time():
    rng = np.random.default_rng(9)
    problem = unlike(rng, random_problem(rng, units=12, technicians=3))
    plan = solve_crew(problem, iterations=300, bound_rounds=0, exact=False)
    first = least_ms(problem, plan)
    assert 0 < first <= plan.last_finish_ms
    assert first == least_ms(problem, plan)


def test_known_bound_is_kept():
    rng = np.random.default_rng(9)
    problem = random_problem(rng, units=6, technicians=2)
    plan = solve_crew(problem)
    generation = ColumnGeneration(task_of(problem, plan))
    known = plan.last_finish_ms - 5
    assert generation.least(StopRule.after(0), known_ms=known) == known


@pytest.mark.parametrize("seed", range(20))
def test_amounts_less_one_come_to_less_than_all_profits(seed):
    rng = np.random.default_rng(seed)
    counts = rng.integers(1, 9, int(rng.integers(1, 5)))
    kind = rng.random(counts.size) * (rng.random(counts.size) < 0.7)
    profits, least = whole_profits(rng.random(7) + 1e-9, kind, counts)
    assert (profits >= 0).all()
    assert (least >= 1).all()
    assert int((counts * (least - 1)).sum()) < int(profits.sum())


def may_go(sets, order):
    """Whether masks that move on from unit to unit let one go through an order."""
    mask = 1
    for here, to in pairwise(order):
        moved = int(sets.moves[0, here, to, mask & 255] | sets.moves[1, here, to, mask >> 8])
        if moved & 1:
            return False
        mask = moved | 1
    return True


def test_masks_remember_what_the_sets_say():
    rng = np.random.default_rng(3)
    apart = rng.integers(1, 1000, (11, 11))
    sets = NgSets(np.minimum(apart, apart.T), size=6)
    for _ in range(12):
        sets.forbid(rng.integers(0, 11, 5).tolist())  # sets of more than a byte
    allowed = []
    for _ in range(500):
        order = [int(u) for u in rng.integers(0, 11, 7)]
        order = [u for k, u in enumerate(order) if k == 0 or u != order[k - 1]]
        allowed.append(sets.allows(order))
        assert may_go(sets, order) == allowed[-1]
    assert 50 < sum(allowed) < 450


def test_round_that_comes_back_is_forbidden_once_remembered():
    apart = ints([[0, 1, 9, 9], [1, 0, 9, 9], [9, 9, 0, 1], [9, 9, 1, 0]])
    sets = NgSets(apart, size=2)
    assert not sets.allows([0, 1, 0])
    assert sets.allows([0, 2, 0])
    assert sets.forbid([0, 2, 0])
    assert not sets.allows([0, 2, 0])
    assert sets.allows([0, 3, 0])
    assert not sets.forbid([0, 1, 2])
