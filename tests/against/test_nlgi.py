"""NLGI numbers from 60-stroke worked penetration at 25 C (ASTM D217, ISO 2137 method).

Source: NLGI consistency tables at realservices.com (ASTM D217 scope, nlgi_consistency) and
engineersedge.com; the latter misprints 000 as 0000.
"""

import pytest

from greaseroute.dose.nlgi import GRADES, nlgi_number

PUBLISHED = {
    "000": (445, 475),
    "00": (400, 430),
    "0": (355, 385),
    "1": (310, 340),
    "2": (265, 295),
    "3": (220, 250),
    "4": (175, 205),
    "5": (130, 160),
    "6": (85, 115),
}


def test_every_number_at_both_ends_and_the_middle():
    for name, (low, high) in PUBLISHED.items():
        assert [nlgi_number(p).number for p in (low, (low + high) / 2, high)] == [name] * 3
    assert {name for name, _, _ in GRADES} == set(PUBLISHED)


def test_bands_are_30_wide_and_45_apart():
    for number in range(7):
        assert PUBLISHED[str(number)] == (355 - 45 * number, 385 - 45 * number)


@pytest.mark.parametrize("penetration", range(296, 310))
def test_the_gap_between_1_and_2_belongs_to_no_number(penetration):
    found = nlgi_number(penetration)
    assert (found.number, found.text) == (None, "between grades NLGI 1 and 2")


def test_outside_the_scale():
    assert nlgi_number(480).text == "softer than NLGI 000"
    assert nlgi_number(80).text == "harder than NLGI 6"
