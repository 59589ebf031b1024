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
# Where the shelf has more than the table: what is counted that the table leaves out.
ARGUED = {
    "backhoe-loader": (46, "kingpins have two fittings, and the rods of the front axle are there"),
    "grader": (42, "cylinders of the wheel lean and of the steering have both pins"),
    "wheeled-excavator": (43, "a steered axle, shafts, a blade and outriggers under an upper part"),
}
# Families that the table does not have: common practice, no source.
OURS = {
    "forwarder": (20, 40),
    "material-handler": (30, 55),
    "reach-stacker": (20, 40),
    "tandem-roller": (5, 12),
    "telescopic-handler": (25, 45),
    "tipper-truck": (25, 45),
    "tracked-carrier": (5, 12),
    "truck-mixer": (30, 50),
}
OTHERS = (8, 30)
INTERVALS_H = (2, 500)
# Bearings of electric motors: a little grease, twice a year of working days.
MOTOR_H = 1000


def greased(name):
    return [joint for joint in shelf_type(name).joints if not joint.never_pump]


@pytest.mark.parametrize("name", shelf_names())
def test_fitting_count_is_in_its_range(name):
    low, high = next(
        (counts for stem, counts in {**FROM_MEMORY, **OURS}.items() if name.startswith(stem)),
        OTHERS,
    )
    most = next((most for stem, (most, _) in ARGUED.items() if name.startswith(stem)), high)
    assert low <= sum(len(joint.fittings) for joint in greased(name)) <= most


def test_no_difference_from_the_table_is_argued_in_vain():
    for stem, (most, why) in ARGUED.items():
        counts = [
            sum(len(j.fittings) for j in greased(n)) for n in shelf_names() if n.startswith(stem)
        ]
        assert max(counts) == most > FROM_MEMORY[stem][1], why


def test_every_family_of_the_table_is_on_the_shelf():
    missing = [s for s in FROM_MEMORY if not any(n.startswith(s) for n in shelf_names())]
    assert missing == []


@pytest.mark.parametrize("name", shelf_names())
def test_intervals_are_of_the_usual_order(name):
    most = {j.name: MOTOR_H if "motor" in j.name else INTERVALS_H[1] for j in greased(name)}
    hours = [j.interval.hours for j in greased(name) if j.interval.hours is not None]
    assert min(hours) >= INTERVALS_H[0]
    over = [j.name for j in greased(name) if (j.interval.hours or 0) > most[j.name]]
    assert over == []
