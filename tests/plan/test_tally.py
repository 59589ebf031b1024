"""Counts and labels of a plan."""

import pytest

from greaseroute.plan.tally import left_by_reason, letter, numbered, tally
from tests.cards import sample


def test_counts_of_the_sample(plan):
    # Diggers have 4 fittings to pump, haulers 3: 4 + 3 + 4 + 3 + 4 = 18, at 4 strokes each.
    got = tally(plan.technicians[0])
    assert (got.units, got.fittings, got.strokes, got.looks) == (5, 18, 72, 1)


def test_a_store_visit_has_no_number_and_does_not_count(plan):
    ((_, stops),) = numbered(plan)
    assert [stop.label for stop in stops] == ["1", "2", "3", "4", "5", ""]


def test_several_technicians_have_letters(yard):
    walks = numbered(sample.plan(yard, technicians=("Ada", "Bo")))
    assert [[s.label for s in stops] for _, stops in walks] == [
        ["A1", "A2", "A3", ""],
        ["B1", "B2"],
    ]


@pytest.mark.parametrize(
    ("index", "text"), [(0, "A"), (25, "Z"), (26, "AA"), (27, "AB"), (52, "BA")]
)
def test_letters_go_on_after_z(index, text):
    assert letter(index) == text


def test_left_out_is_grouped_by_reason_then_unit(plan):
    groups = left_by_reason(plan)
    (key,) = groups
    assert key == ("out of reach in the posture it stands in", "lower the body")
    assert [item.joint for item in groups[key]["HT-06"]] == ["body pivot", "steering pivot"]
