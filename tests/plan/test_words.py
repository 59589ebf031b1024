"""Times, counts and the certificate in words."""

import pytest

from greaseroute.plan.round import Bound
from greaseroute.plan.words import (
    band_words,
    certificate,
    clock,
    count,
    day,
    listed,
    minutes,
)


def test_clock_and_day_follow_the_offset_not_the_machine():
    # 23:30 in UTC is half past midnight of the next day one hour east; the text is local.
    assert clock("2031-03-05T00:30:00+01:00") == "00:30"
    assert day("2031-03-05T00:30:00+01:00") == "Wednesday 5 March 2031"  # by any calendar


def test_minutes_have_one_decimal():
    assert minutes(2334.0) == "38.9 min"  # 2334 / 60 = 38.90


@pytest.mark.parametrize(("n", "text"), [(0, "0 joints"), (1, "1 joint"), (2, "2 joints")])
def test_count_knows_one_from_many(n, text):
    assert count(n, "joint") == text


def test_listed_joins_with_and():
    assert [listed("abc"[:n]) for n in range(4)] == ["", "a", "a and b", "a, b and c"]


def test_unknown_band_is_told_as_it_is():
    assert [band_words(b) for b in ("overhead", "prone")] == ["reaching up", "prone"]


def test_certificate_gives_both_figures_and_the_share_that_could_be_saved():
    # (2334 - 2292) / 2334 = 0.017995: 1.8 % of this plan's time.
    bound = Bound(lower_s=2292, value_s=2334, gap_pct=1.7995, what="")
    assert certificate(bound) == (
        "Proved: at most 1.8 % of the 38.9 min of walking and moving could be saved."
    )


def test_certificate_of_a_best_walk_says_so():
    bound = Bound(lower_s=600, value_s=600, gap_pct=0.0, what="")
    assert certificate(bound) == (
        "Proved: no walk for these visits takes less than the 10.0 min of this one."
    )


def test_a_crew_is_told_over_its_walking_and_moving():
    bound = Bound(lower_s=2250, value_s=2700, gap_pct=16.67, what="last finish, for all")
    assert certificate(bound) == (
        "Proved: at most 16.7 % of the 45.0 min of walking and moving could be saved."
    )


def test_certificate_without_a_bound_claims_nothing():
    bound = Bound(lower_s=0, value_s=600, gap_pct=None, what="")
    assert certificate(bound) == ("Not proved: how much time another walk could save is not known.")
