"""What a technician takes at least for any units, and assigning them so that nobody takes longer.

Least times are told by an enumeration of its own: every order of the units, every way through each,
a store visit at every place where one is asked for.
"""

from dataclasses import replace
from itertools import combinations, permutations, product

import numpy as np
import pytest

from greaseroute.solvers.arrays import FAR
from greaseroute.solvers.vrp.bag import Bag, bag_of
from greaseroute.solvers.vrp.benders.assignment import Assignable
from greaseroute.solvers.vrp.benders.cut import OptimalityCut, Potentials, cut_of
from greaseroute.solvers.vrp.benders.master_cp import AssignmentModel
from greaseroute.solvers.vrp.benders.route_points import route_legs
from greaseroute.solvers.vrp.benders.subproblem import RouteMaster, sets_of_units
from greaseroute.solvers.vrp.entry_exit_points import least_walk
from tests.solvers.vrp.crew_cases import ints, line_problem, random_problem


def every_way(problem):
    return np.arange(problem.way_unit.size)[np.argsort(problem.way_unit, kind="stable")]


def least_time(problem, t, units, *, store_visits=0):
    """By going through every order, every way and every place of that many store visits."""
    walk, best = least_walk(problem, t), FAR
    steps = [[w for w in range(problem.ways) if problem.way_unit[w] == u] for u in units]
    stops = [*range(len(units)), *(["store"] * store_visits)]
    for order in set(permutations(stops)):
        kinds = [problem.store_points.tolist() if s == "store" else steps[s] for s in order]
        for chosen in product(*kinds):
            at, time = problem.start_point[t], 0
            for stop, one in zip(order, chosen, strict=True):
                if stop == "store":
                    time, at = time + walk[at, one] + problem.reload_ms, one
                else:
                    time += walk[at, problem.way_enter[one]] + problem.way_ms[t, one]
                    at = problem.way_leave[one]
            best = min(best, time + walk[at, problem.finish_point[t]])
    return int(best)


def some_of(units):
    return [c for n in range(units + 1) for c in combinations(range(units), n)]


def any_potentials(rng, legs):
    sets = rng.random((5, legs.nodes)) < 0.4
    weight = rng.integers(0, 40_000, 5)
    points = [rng.integers(-60_000, 60_000, n) for n in (legs.head.size, legs.tail.size)]
    return Potentials(entry=points[0], leave=points[1], sets=sets, weight=weight)


@pytest.mark.parametrize("seed", range(6))
def test_any_potentials_give_a_cut_that_no_route_is_below(seed):
    rng = np.random.default_rng(seed)
    problem = random_problem(rng, units=4, technicians=2)
    legs = route_legs(problem, 1, every_way(problem), stores=False)
    cuts = [cut_of(legs, any_potentials(rng, legs), units=4) for _ in range(20)]
    for units in some_of(4):
        least = least_time(problem, 1, units)
        assert max(f.least_ms(ints(units), 0) for f in cuts) <= least


@pytest.mark.parametrize("seed", range(4))
def test_cut_counts_store_visits_at_least(seed):
    rng = np.random.default_rng(seed)
    problem = replace(random_problem(rng, units=3, technicians=1, bag=True), bag_at_start=ints([0]))
    legs = route_legs(problem, 0, every_way(problem), stores=True)
    cuts = [cut_of(legs, any_potentials(rng, legs), units=3) for _ in range(20)]
    for units in some_of(3)[1:]:
        for visits in (0, 1):
            least = least_time(problem, 0, units, store_visits=visits)
            # told for fewer visits than are made, a cut still holds
            assert max(f.least_ms(ints(units), n) for f in cuts for n in range(visits + 1)) <= least


def test_cut_of_a_line_is_read_off_it():
    # start at 0, units at 10 and 30 m, 1 m/s, 5 s of work at each: with all potentials zero a round
    # costs the least leg out of each place: 10 s from the start, 10 s and 20 s from the units
    problem = line_problem([10, 30], work_s=[5, 5])
    legs = route_legs(problem, 0, every_way(problem), stores=False)
    none = Potentials(
        entry=np.zeros(legs.head.size, int),
        leave=np.zeros(legs.tail.size, int),
        sets=np.zeros((0, 2), bool),
        weight=np.zeros(0, int),
    )
    cut = cut_of(legs, none, units=2)
    # the start may also be left for the finish at once, in no time
    assert (cut.fixed, cut.each.tolist()) == (0, [15_000, 25_000])


@pytest.mark.parametrize("seed", range(5))
def test_program_tells_a_whole_assignment_nearly_to_the_ms(seed):
    rng = np.random.default_rng(10 + seed)
    problem = random_problem(rng, units=5, technicians=1)
    legs = route_legs(problem, 0, every_way(problem), stores=False)
    program, told, least = RouteMaster(legs), 0, 0
    for units in some_of(5)[-6:]:
        assignment = np.zeros(legs.nodes)
        assignment[list(units)] = 1.0
        cut = program.learn(assignment, 0.0, units=5)
        told += cut.least_ms(ints(units), 0)
        exact = least_time(problem, 0, units)
        assert cut.least_ms(ints(units), 0) <= exact
        least += exact
        for others in some_of(5)[::3]:
            assert cut.least_ms(ints(others), 0) <= least_time(problem, 0, others)
    assert told >= 0.99 * least


@pytest.mark.parametrize("seed", range(5))
def test_ways_left_out_change_no_round(seed):
    rng = np.random.default_rng(20 + seed)
    problem = random_problem(rng, units=3, technicians=1)
    # ways that begin and end where others do and take longer, and ways alike in everything
    extra = rng.integers(0, problem.ways, 4)
    more = {
        name: np.concatenate([getattr(problem, name), getattr(problem, name)[extra]])
        for name in ("way_unit", "way_enter", "way_leave", "way_loss", "way_strokes")
    }
    longer = problem.way_ms[:, extra] + ints([0, 0, 1, 5_000])
    problem = replace(problem, way_ms=np.concatenate([problem.way_ms, longer], axis=1), **more)
    legs = route_legs(problem, 0, every_way(problem), stores=False)
    assert legs.way_ms.size <= problem.ways - 4
    for units in some_of(3):
        assert _least_by_legs(legs, units) == least_time(problem, 0, units)


def _least_by_legs(legs, units):
    best = FAR
    for order in permutations(units):
        ways = [np.flatnonzero(legs.way_node == np.searchsorted(legs.unit, u)) for u in order]
        for chosen in product(*ways):
            at, time = -1, 0
            for w in chosen:
                time += legs.cost_ms[at, legs.way_in[w]] + legs.way_ms[w]
                at = legs.way_out[w]
            best = min(best, time + legs.cost_ms[at, -1])
    return int(best)


def test_nested_sets_join_the_nearest_first():
    problem = line_problem([10, 12, 40, 43, 100], work_s=[1] * 5)
    legs = route_legs(problem, 0, every_way(problem), stores=False)
    found = [np.flatnonzero(inside).tolist() for inside in sets_of_units(legs)]
    assert found == [[0, 1], [2, 3], [0, 1, 2, 3], [0, 1, 2, 3, 4]]


def test_bag_asks_for_whole_cartridges_of_each_gun():
    # 50 + 60 strokes with 20 left in the gun: 90 / 40 is 3 cartridges; 30 of the other gun's 100
    # is 1; 4 cartridges less 1 in the bag are 3, in bags of 2: two visits
    change_ms = ints([7, 100])
    bag = Bag(ints([[50, 30], [60, 0]]), ints([40, 100]), ints([20, 0]), change_ms, held=1, full=2)
    assert bag.store_visits(ints([0, 1])) == 2
    assert bag.changing_ms(ints([0, 1])) == 3 * 7 + 100
    assert bag.changing_ms(ints([])) == 0
    assert bag.store_visits(ints([1])) == 0  # 40 strokes, one cartridge
    assert bag.store_visits(ints([])) == 0


def test_bag_of_a_technician_takes_the_fewest_strokes_of_a_unit():
    problem = line_problem(
        [10, 20], work_s=[1, 1], way_strokes=ints([[50], [70]]), cartridge_strokes=ints([[40]])
    )
    bag = bag_of(problem, 0, every_way(problem))
    assert bag.strokes.tolist() == [[50], [70]]
    assert (bag.held, bag.full) == (99, 99)


def random_cuts(rng, units):
    return [
        OptimalityCut(
            fixed=int(rng.integers(0, 50)),
            each=rng.integers(5, 60, units),
            sets=rng.random((4, units)) < 0.4,
            weight=rng.integers(0, 40, 4),
            store=int(rng.integers(0, 30)),
        )
        for _ in range(3)
    ]


def random_crew(rng, units, crew):
    may = rng.random((units, crew)) < 0.8
    may[~may.any(axis=1), 0] = True
    may[0] = False  # nobody visits the first unit
    bags = tuple(
        Bag(
            rng.integers(0, 30, (units, 2)),
            ints([40, 30]),
            ints([5, 0]),
            ints([8, 3]),
            held=1,
            full=2,
        )
        for _ in range(crew)
    )
    return Assignable(type_of=np.arange(crew), may=may, bags=bags)


def assignments(who):
    """Every way of sharing the visited units out."""
    choices = [np.flatnonzero(row).tolist() or [-1] for row in who.may]
    return [ints(assignment) for assignment in product(*choices)]


def excess(who, cuts, time, assignment):
    """By how much the worst cut exceeds its time, told from its definition."""
    worst = -(10**9)
    for t, k in enumerate(who.type_of):
        mine = np.flatnonzero(assignment == t)
        visits, changing = who.bags[t].store_visits(mine), who.bags[t].changing_ms(mine)
        worst = max(worst, *(f.least_ms(mine, visits) + changing - time[t] for f in cuts[k]))
    return worst


def puzzles():
    """Cuts with every assignment of seven units, and the least time that one of them needs."""
    for seed, crew in product(range(4), (1, 2, 3)):
        rng = np.random.default_rng(30 + seed)
        who = random_crew(rng, 7, crew)
        cuts = [random_cuts(rng, 7) for _ in range(crew)]
        every, slack = assignments(who), rng.integers(0, 40, crew)
        best = min(excess(who, cuts, slack, assignment) for assignment in every)
        yield who, cuts, every, slack + best


def answer(who, cuts, *, time, alike=False, effort=2.0, given=()):
    model = AssignmentModel(who, time_ms=time, alike=alike)
    model.learn(cuts)
    return model.answer(given, effort=effort)


def test_model_finds_an_assignment_just_where_there_is_one():
    for who, cuts, every, time in puzzles():
        found = answer(who, cuts, time=time).assignment
        assert excess(who, cuts, time, found) <= 0
        assert any(np.array_equal(found, assignment) for assignment in every)
        none = answer(who, cuts, time=time - 1)
        assert none.assignment is None
        assert none.ruled_out


def test_a_part_of_all_assignments_is_what_was_given():
    for who, cuts, every, time in puzzles():
        unit = int(np.flatnonzero(who.may.all(axis=1))[0])
        for t in range(who.may.shape[1]):
            part = answer(who, cuts, time=time, given=[(unit, t)])
            fits = [s for s in every if s[unit] == t and excess(who, cuts, time, s) <= 0]
            assert part.ruled_out == (not fits)
            assert part.assignment is None or part.assignment[unit] == t


def test_a_model_grown_by_single_cuts_says_what_one_made_at_once_says():
    for who, cuts, _, time in puzzles():
        grown = AssignmentModel(who, time_ms=time - 1, alike=False)
        for count in range(1, 1 + max(len(known) for known in cuts)):
            grown.learn([known[:count] for known in cuts])
            told = [known[:count] for known in cuts]
            at_once = answer(who, told, time=time - 1)
            assert grown.answer((), effort=2.0).ruled_out == at_once.ruled_out
        assert grown.answer((), effort=2.0).ruled_out


def test_technicians_alike_may_change_names():
    # two units of 10 each and time for one of them each: whoever takes which
    one = OptimalityCut(0, ints([10, 10]), np.zeros((0, 2), bool), ints([]), 0)
    bag = Bag(np.zeros((2, 0), int), ints([]), ints([]), ints([]), held=0, full=0)
    who = Assignable(type_of=ints([0, 0]), may=np.ones((2, 2), bool), bags=(bag, bag))
    found = answer(who, [[one]], time=ints([10, 10]), alike=True).assignment
    assert found.tolist() == [0, 1]
    assert answer(who, [[one]], time=ints([10, 9])).ruled_out


def test_too_little_effort_is_told():
    rng = np.random.default_rng(5)
    who = random_crew(rng, 60, 2)
    cuts = [random_cuts(rng, 60) for _ in range(2)]
    told = answer(who, cuts, time=ints([1100, 1100]), effort=1e-9)
    assert told.assignment is None
    assert not told.ruled_out
