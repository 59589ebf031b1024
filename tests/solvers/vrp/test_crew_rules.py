"""Each rule alone changes the plan by an amount that can be counted on a line of units.

One metre is one second of walking at 1 m/s, so every time can be read off the positions.
"""

from dataclasses import replace

import numpy as np

from greaseroute.solvers.vrp.problem import CANNOT, NO_LIMIT_MS, NO_PATH, Phase
from greaseroute.solvers.vrp.solve import solve_crew
from greaseroute.solvers.vrp.why_skipped import CUT_OFF, NO_BAG, NO_TIME, NOBODY, SHIFT, WINDOW
from tests.solvers.vrp.crew_cases import ints, line_problem

OPEN = [0, NO_LIMIT_MS]


def order(plan, technician=0):
    return [v.unit for v in plan.rounds[technician].visits if v.kind == "unit"]


def test_no_rule_out_and_back():
    # 30 m out, 30 m back, 3 x 10 s of work
    plan = solve_crew(line_problem([10, 20, 30], work_s=[10, 10, 10]))
    assert (plan.last_finish_ms, plan.walk_mm, plan.lost) == (90_000, 60_000, 0)


def test_window_that_opens_late_is_waited_for():
    # unit 0 opens at 100 s: 10 s of work there, then 10 m home; all else fits before
    problem = line_problem([10, 20], work_s=[10, 10], window_ms=ints([[100_000, 2**50], OPEN]))
    plan = solve_crew(problem)
    assert plan.last_finish_ms == 120_000
    assert plan.rounds[0].wait_ms == 120_000 - 20_000 - 40_000  # work 20 s, walk 40 s


def test_window_that_closes_early_turns_the_order_round():
    # unit 1 (20 m) must be done by 30 s: straight there, unit 0 on the way back; no time is lost
    problem = line_problem([10, 20], work_s=[10, 10], window_ms=ints([OPEN, [0, 30_000]]))
    plan = solve_crew(problem)
    assert (order(plan), plan.last_finish_ms) == ([1, 0], 60_000)


def test_window_of_one_way_alone():
    # as before, but the window is the way's own
    window = ints([OPEN, [0, 30_000]])
    plan = solve_crew(line_problem([10, 20], work_s=[10, 10], way_window_ms=window))
    assert order(plan) == [1, 0]


def test_window_too_short_leaves_the_unit_and_says_why():
    problem = line_problem([10, 20], work_s=[10, 10], window_ms=ints([[5_000, 14_000], OPEN]))
    plan = solve_crew(problem)
    assert (plan.lost, [(s.unit, s.reason) for s in plan.skipped]) == (100, [(0, WINDOW)])


def test_shift_end_leaves_what_weighs_least():
    # all three take 90 s; by 75 s one has to go: the far one saves 30 s, a near one only 10 s,
    # so unit 2 goes although it weighs more than one of the others
    problem = line_problem(
        [10, 20, 30], work_s=[10, 10, 10], end_ms=ints([75_000]), skip_loss=ints([5, 6, 7])
    )
    plan = solve_crew(problem)
    assert (plan.lost, plan.last_finish_ms) == (7, 60_000)
    assert [(s.unit, s.reason) for s in plan.skipped] == [(2, NO_TIME)]
    # five seconds more than 80 and the lightest goes instead
    later = solve_crew(replace(problem, end_ms=ints([80_000])))
    assert (later.lost, later.last_finish_ms) == (5, 80_000)


def test_unit_too_far_for_the_shift_says_so():
    plan = solve_crew(line_problem([10, 300], work_s=[10, 10], end_ms=ints([100_000])))
    assert [(s.unit, s.reason) for s in plan.skipped] == [(1, SHIFT)]


def test_lower_service_level_instead_of_skipping():
    # unit 1 in full takes 60 s, in part 10 s at a loss of 3; by 70 s only the part fits
    problem = replace(
        line_problem([10, 20, 20], work_s=[10, 60, 10], end_ms=ints([70_000])),
        way_unit=ints([0, 1, 1]),
        way_loss=ints([0, 0, 3]),
        skip_loss=ints([100, 100]),
        window_ms=ints([OPEN, OPEN]),
    )
    plan = solve_crew(problem)
    assert (plan.lost, plan.last_finish_ms) == (3, 60_000)
    assert [v.way for v in plan.rounds[0].visits] == [0, 2] or order(plan) == [1, 0]
    full = solve_crew(replace(problem, end_ms=ints([110_000])))
    assert (full.lost, full.last_finish_ms) == (0, 110_000)


def bag_problem(**fields):
    # three units of 60 strokes, cartridges of 100: 180 strokes take two, put in at units 0 and 1
    # (after 120 strokes) of the order walked; the store is 5 m behind the start
    return line_problem(
        [10, 20, 30],
        work_s=[10, 10, 10],
        store_m=-5,
        way_strokes=ints([[60], [60], [60]]),
        cartridge_strokes=ints([[100]]),
        reload_ms=7_000,
        **fields,
    )


def test_bag_that_lasts_needs_no_store():
    plan = solve_crew(bag_problem(bag_cartridges=ints([2])))
    assert (plan.last_finish_ms, plan.rounds[0].load) == (90_000, (2,))


def test_bag_too_small_sends_the_technician_to_the_store():
    # one cartridge in the bag: a second must be fetched before the second unit of the order.
    # cheapest: unit 0 first (10 m), back to the store (15 m, 7 s), out to 30 m (35 m), home (30 m)
    plan = solve_crew(bag_problem(bag_cartridges=ints([1])))
    assert plan.last_finish_ms == (10 + 15 + 35 + 30 + 30 + 7) * 1000
    assert [v.kind for v in plan.rounds[0].visits] == ["unit", "store", "unit", "unit"]
    assert (plan.rounds[0].load, plan.rounds[0].visits[1].load) == ((1,), (1,))


def test_strokes_left_in_the_gun_save_the_way_to_the_store():
    # 80 left in the gun: 180 - 80 = 100 strokes are one cartridge
    problem = bag_problem(bag_cartridges=ints([1]), gun_left_strokes=ints([[80]]))
    assert solve_crew(problem).last_finish_ms == 90_000


def test_bag_that_is_not_full_at_the_start():
    # a bag of two with one left in it: fill it first, 5 m behind the start and back, 7 s there
    problem = bag_problem(bag_cartridges=ints([2]), bag_at_start=ints([1]))
    assert solve_crew(problem).last_finish_ms == 107_000
    found = solve_crew(problem, exact=False, iterations=200, bound_rounds=0)
    assert found.last_finish_ms == 107_000


def test_unit_that_a_full_bag_cannot_serve_says_so():
    # 260 strokes: at most 99 can be left in the gun, so two cartridges or more
    strokes = ints([[60], [60], [260]])
    problem = replace(bag_problem(bag_cartridges=ints([1])), way_strokes=strokes)
    plan = solve_crew(problem)
    assert [(s.unit, s.reason) for s in plan.skipped] == [(2, NO_BAG)]


def closing(problem, from_ms, to_ms):
    """The leg between unit 0 (10 m) and unit 1 (20 m) has no path from one hour to another."""
    shut = problem.travel_ms.copy()
    shut[:, :, 1] = NO_PATH
    shut[:, 1, :] = NO_PATH
    shut[:, 1, 1] = 0
    return replace(problem, phases=(Phase(from_ms, shut), Phase(to_ms, problem.travel_ms)))


def test_zone_closed_for_some_time_is_waited_for():
    # unit 1 lies in a zone that is closed from 5 s to 50 s: nobody gets in by 5 s (20 m), so leave
    # unit 0 at 50 s at the earliest: there at 60, done at 70, home at 90; open all day it is 60
    problem = line_problem([10, 20], work_s=[10, 10])
    assert solve_crew(problem).last_finish_ms == 60_000
    plan = solve_crew(closing(problem, 5_000, 50_000))
    assert plan.last_finish_ms == 90_000
    assert plan.rounds[0].walk_ms == 40_000


def test_leg_that_would_last_into_the_closing_is_not_begun():
    # closed from 25 s to 50 s: unit 1 first (there at 20 s, done at 30 s), out of it at 50 s, unit
    # 0 from 60 to 70 s, home at 80 s; unit 0 first would mean going in at 50 s, and home at 90 s
    plan = solve_crew(closing(line_problem([10, 20], work_s=[10, 10]), 25_000, 50_000))
    assert (plan.last_finish_ms, order(plan)) == (80_000, [1, 0])
    # closed from 35 s on: the leg home from unit 1 (done at 40 s) waits for 50 s, home at 70 s
    plan = solve_crew(closing(line_problem([10, 20], work_s=[10, 10]), 35_000, 50_000))
    assert plan.last_finish_ms == 70_000


def test_faster_technician_takes_the_far_unit():
    # 2 m/s and 1 m/s; units at 40 m and -40 m: 50 s and 90 s; with both at 1 m/s 90 s and 90 s;
    # the faster one alone: 40 + 40 s of walking and 20 s of work are 100 s
    both = line_problem([40, -40], work_s=[10, 10], technicians=2)
    assert solve_crew(both).last_finish_ms == 90_000
    mixed = line_problem([40, -60], work_s=[10, 10], technicians=2, speed_m_s=[2, 1])
    plan = solve_crew(mixed)
    # -60 by the fast one: 60 + 10 = 70 s; 40 by the slow one: 80 + 10 = 90 s
    assert (plan.last_finish_ms, order(plan, 0), order(plan, 1)) == (90_000, [1], [0])


def test_skill_or_gun_decides_who_goes():
    # technician 0 cannot take unit 1: both units are on one side, so one walks 20 m for it
    problem = line_problem([10, 20], work_s=[50, 50], technicians=2)
    way_ms = problem.way_ms.copy()
    way_ms[0, 1] = CANNOT
    plan = solve_crew(replace(problem, way_ms=way_ms))
    assert (order(plan, 0), order(plan, 1)) == ([0], [1])
    way_ms[1, 1] = CANNOT
    plan = solve_crew(replace(problem, way_ms=way_ms))
    assert [(s.unit, s.reason) for s in plan.skipped] == [(1, NOBODY)]


def test_unit_fixed_to_a_technician():
    # both units are fixed to technician 1, who takes 140 s for what two would do in 90 s
    problem = line_problem([10, 20], work_s=[50, 50], technicians=2)
    assert solve_crew(problem).last_finish_ms == 90_000
    plan = solve_crew(replace(problem, unit_technician=ints([1, 1])))
    assert (plan.last_finish_ms, order(plan, 0)) == (140_000, [])


def test_second_person_only_while_the_operator_is_at_hand():
    # unit 1 needs a second person, there from 100 s to 200 s: 100 + 10 + 20 home
    problem = line_problem(
        [10, 20],
        work_s=[10, 10],
        way_needs_second=np.array([False, True]),
        operator_ms=ints([[0, 0], [100_000, 200_000]]),
    )
    assert solve_crew(problem).last_finish_ms == 130_000
    plan = solve_crew(replace(problem, operator_ms=None))
    assert [(s.unit, s.reason) for s in plan.skipped] == [(1, WINDOW)]


def test_unit_without_a_path_is_left_and_says_so():
    problem = line_problem([10, 20], work_s=[10, 10])
    travel = problem.travel_ms.copy()
    travel[:, 1, :] = travel[:, :, 1] = NO_PATH
    plan = solve_crew(replace(problem, travel_ms=travel))
    assert [(s.unit, s.reason) for s in plan.skipped] == [(1, CUT_OFF)]


def test_own_start_and_finish():
    # start at 0, finish at 40: through all on the way, no walk back
    plan = solve_crew(line_problem([10, 20, 30], work_s=[10, 10, 10], finish_m=40))
    assert (plan.last_finish_ms, order(plan)) == (70_000, [0, 1, 2])


def test_late_start_of_one_technician_moves_work_to_the_other():
    # technician 1 starts at 60 s: technician 0 does both within 60 + 20... units at 10 and 20 m,
    # work 10: together 60 s; nobody else is needed, and nothing can be earlier than the 60 s at
    # which technician 1 starts and stands at the finish
    problem = line_problem([10, 20], work_s=[10, 10], technicians=2, start_ms=ints([0, 60_000]))
    plan = solve_crew(problem)
    assert (plan.last_finish_ms, order(plan, 1)) == (60_000, [])


def test_least_metres_among_plans_that_end_at_the_same_time():
    # technician 0 waits for unit 0 (opens at 500 s: 10 + 100 home = 610 s in any case). unit 1 at
    # 20 m and unit 2 at -20 m fit in before or with technician 1; least metres is all by one:
    # 100 m out and home with unit 1 on the way, and 40 m for unit 2 behind the start
    window = ints([[500_000, 2**50], OPEN, OPEN])
    problem = line_problem([100, 20, -20], work_s=[10, 10, 10], technicians=2, window_ms=window)
    plan = solve_crew(problem)
    assert (plan.last_finish_ms, plan.walk_mm) == (610_000, 240_000)


def test_fair_shares_among_plans_of_equal_time_and_length():
    # all at the start, no walking at all: unit 0 takes 100 s; 1, 2, 3 take 10 s each. Two others
    # share them: 20 and 10 s rather than 30 and 0, or with unit 0; the spread is 100 - 10 s
    problem = line_problem([0, 0, 0, 0], work_s=[100, 10, 10, 10], technicians=3)
    plan = solve_crew(problem)
    assert (plan.last_finish_ms, plan.walk_mm, plan.spread_ms) == (100_000, 0, 90_000)
    assert sorted(len(order(plan, t)) for t in range(3)) == [1, 1, 2]


def test_technician_without_a_way_to_the_finish_stands_down():
    problem = line_problem([10, 20], work_s=[10, 10], technicians=2, end_ms=ints([70_000, 70_000]))
    travel = problem.travel_ms.copy()
    travel[1, :, 3] = NO_PATH
    plan = solve_crew(replace(problem, travel_ms=travel))
    assert plan.last_finish_ms == 60_000
    assert plan.rounds[1].reason == "no way to the finish before the shift ends"
    assert plan.rounds[1].visits == ()
