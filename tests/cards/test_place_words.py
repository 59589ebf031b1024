"""Places in words: sides by the part one stands at, and no two of a stop the same."""

import math

import pytest

from greaseroute.cards.card_model import walk_blocks
from greaseroute.cards.place_words import place_words
from greaseroute.catalogue.kinematics.placed import Pose, place
from greaseroute.catalogue.shelf import shelf_type
from greaseroute.plan.round import StandVisit
from greaseroute.texts.language import language

DIGGER = shelf_type("crawler-excavator-22t")


def at(placed, ahead_m, left_m, *, turned_deg=0.0, tasks=()):
    """A place so far ahead and left of the machine's point, turned about it to the left."""
    turn = math.radians(turned_deg)
    x = ahead_m * math.cos(turn) - left_m * math.sin(turn)
    y = ahead_m * math.sin(turn) + left_m * math.cos(turn)
    east, north = (placed.pose.frame @ (x, y, 0.0, 1.0))[:2]
    return StandVisit(x_m=float(east), y_m=float(north), posture=placed.posture, fittings=tasks)


def words_of(*visits, placed):
    (texts,) = place_words([(visits, placed)])
    return texts


@pytest.mark.parametrize("heading_deg", [0.0, 77.0])
@pytest.mark.parametrize("slew_deg", [0.0, 180.0, -65.0])
def test_sides_are_those_of_the_part_one_stands_at(heading_deg, slew_deg):
    placed = place(DIGGER, Pose(40.0, 60.0, heading_deg, slew_deg), posture="parked")
    stick = next(s.footprint for s in placed.solids if s.link == "stick").centroid
    out_m = math.dist((stick.x, stick.y), (40.0, 60.0))
    # Beside the stick, 2 m to the left of the way it looks, whatever the tracks do.
    left = at(placed, out_m, 2.0, turned_deg=slew_deg)
    right = at(placed, out_m, -2.0, turned_deg=slew_deg)
    texts = words_of(left, right, placed=placed)
    assert texts[0].startswith("left of the ")
    assert texts[1].startswith("right of the ")


@pytest.mark.parametrize(("slew_deg", "side"), [(0.0, "left"), (180.0, "right")])
def test_the_same_place_is_on_the_other_side_of_a_part_that_was_turned(slew_deg, side):
    placed = place(DIGGER, Pose(0.0, 0.0, 0.0, slew_deg), posture="parked")
    (text,) = words_of(at(placed, 0.0, 2.6), placed=placed)
    assert text == f"{side} of the upperstructure, at its middle"


def test_places_with_the_same_words_are_numbered_from_the_front():
    placed = place(DIGGER, Pose(0.0, 0.0, 0.0, 0.0), posture="parked")
    front, rear = at(placed, 0.1, 2.6), at(placed, -0.1, 2.6)
    texts = words_of(rear, front, placed=placed)
    assert texts[0].removesuffix(", second from the front") == texts[1].removesuffix(
        ", first from the front"
    )
    assert len(set(texts)) == 2


def test_no_two_places_of_a_stop_are_told_alike(plan, yard):
    for walk in walk_blocks(plan, yard):
        for stop in walk.stops:
            texts = [stand.where for block in stop.postures for stand in block.stands]
            assert len(texts) == len(set(texts))


def test_places_are_said_in_german():
    german = language("de")
    said = german.sentence("left of the bucket, on its right, second from the front", "loader")
    assert said == "links von: Schaufel, rechte Seite, 2. von vorn"
    assert german.sentence("on the left walkway, 1.7 m up") != "on the left walkway, 1.7 m up"
