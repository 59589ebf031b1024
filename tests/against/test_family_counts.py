"""Fittings per family against ranges kept from memory; no maker's figures, nothing verified.

So these tests say that the shelf agrees with the table typed in here, not that the table is true.
Families that the table does not have are held to a wide range of our own. Fittings that are never
pumped do not count; centrally lubricated ones do.
"""

import pytest

from greaseroute.catalogue.shelf import shelf_names, shelf_type

FROM_MEMORY = {
    "crawler-excavator": (15, 25),
    "wheeled-excavator": (15, 25),
    "wheel-loader": (15, 30),
    "backhoe-loader": (30, 45),
    "grader": (25, 40),
    "crawler-dozer": (5, 15),
    "articulated-dumper": (15, 30),
    "rigid-dumper": (15, 30),
    "scraper": (20, 40),
    "single-drum-roller": (4, 10),
}
OURS = (8, 30)
INTERVALS_H = (2, 500)


def greased(name):
    return [joint for joint in shelf_type(name).joints if not joint.never_pump]


@pytest.mark.parametrize("name", shelf_names())
def test_fitting_count_is_in_its_range(name):
    low, high = next(
        (counts for stem, counts in FROM_MEMORY.items() if name.startswith(stem)), OURS
    )
    assert low <= sum(len(joint.fittings) for joint in greased(name)) <= high


def test_every_family_of_the_table_is_on_the_shelf():
    missing = [s for s in FROM_MEMORY if not any(n.startswith(s) for n in shelf_names())]
    assert missing == []


@pytest.mark.parametrize("name", shelf_names())
def test_intervals_are_of_the_usual_order(name):
    hours = [j.interval.hours for j in greased(name) if j.interval.hours is not None]
    assert min(hours) >= INTERVALS_H[0]
    assert max(hours) <= INTERVALS_H[1]
