"""Weeks of small sites levelled by real rounds, beside the best week that an outside program finds.

The program (scipy's HiGHS, over the minutes of every set of joints a morning can be given) is in
``tests.bench.levelled_weeks``, which compares thirty sites.
"""

from dataclasses import replace

import pytest

from greaseroute.forecast.level_walked import Trial, level_walked
from greaseroute.forecast.round_planner import TRIAL_ROUNDS, round_planner, trial_rounds
from greaseroute.forecast.week import WeekSettings, course_of, levelled, plan_week, span_of
from tests.bench.levelled_weeks import MORNINGS, Program, Sets, arcs_of, compared, small_site
from tests.rounds.yards import AT, unit

LEVEL_PCT = 3.0


def spanned(seed):
    site = small_site(seed)
    return span_of(site, AT, mornings=MORNINGS, settings=WeekSettings(weeks=2))


@pytest.mark.parametrize("seed", [0, 2])
def test_within_three_per_cent_of_the_best_week_of_an_outside_program(seed):
    linear, best, planned = compared(seed)
    assert linear <= best + 1e-6
    assert best - 0.05 <= planned <= best * (1 + LEVEL_PCT / 100)


def test_rounds_on_trial_shorten_the_longest_morning():
    """By its own estimate alone the week of site 2 has a longest morning 5 % over the best."""
    span = spanned(2)
    plan = round_planner(span.site, seed=1)
    longest = {}
    for most in (0, TRIAL_ROUNDS):
        tried = replace(span, settings=replace(span.settings, trial_rounds=most))
        week = plan_week(tried, plan=plan)
        longest[most] = max(m.minutes for m in week.mornings)
    assert longest[TRIAL_ROUNDS] < 0.96 * longest[0]


def test_no_more_rounds_than_asked_for_and_no_joint_outside_its_tolerance():
    span = spanned(5)
    course, asked = course_of(span), []
    plan = round_planner(span.site, seed=1)

    def counted(some):
        asked.extend(some)
        return plan(some)

    level = levelled(span, course)
    found = level_walked(span.site, course.maker, level, capacity_ms=span.capacity_ms,
                         trial=Trial(counted, 4))  # fmt: skip
    begun = sum(load > 0 for load in level.answer.load_ms)
    assert begun <= len(asked) <= begun + 4 + MORNINGS
    arcs = arcs_of(course.maker, MORNINGS)
    for row, mine in enumerate(arcs):
        days = sorted(s.day for s in found.services if s.row == row)
        assert set(zip([-1, *days], [*days, MORNINGS], strict=True)) <= mine
    assert sum(found.answer.load_ms > 0) <= MORNINGS


def test_a_large_site_tries_no_rounds():
    site = small_site(0)
    many = replace(site, units=tuple(unit(k, site.units[0].type, 0, 0) for k in range(12)))
    assert (trial_rounds(site), trial_rounds(many)) == (TRIAL_ROUNDS, 0)


def test_the_outside_program_is_the_best_of_all_weeks_of_two_joints():
    """Two joints of 3 and 4 minutes, 6 together, each once on one of two mornings: 4 minutes."""
    arcs = [{(-1, 0), (-1, 1), (0, 2), (1, 2)}] * 2
    minutes = {frozenset(): 0.0, frozenset({0}): 3.0, frozenset({1}): 4.0, frozenset({0, 1}): 6.0}
    linear, best = Program(arcs, 2, minutes.__getitem__).bounds()
    assert best == pytest.approx(4.0)
    assert linear == pytest.approx(3.0)


def test_sets_are_real_rounds():
    span = spanned(2)
    sets = Sets(span, course_of(span).maker)
    one, two = sets.of(frozenset({0})), sets.of(frozenset({0, 1}))
    assert 0 < one < two
