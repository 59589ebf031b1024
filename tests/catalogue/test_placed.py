"""A machine put on the site: compass headings, planes, decks, swept disc, what hangs on oil."""

import math

import numpy as np
import pytest
from shapely import Point

from greaseroute.catalogue.deck import Deck
from greaseroute.catalogue.kinematics.placed import Pose, place
from greaseroute.catalogue.kinematics.stance import stance_of
from greaseroute.catalogue.posture import Posture
from greaseroute.catalogue.shelf import shelf_names, shelf_type
from greaseroute.errors import PostureRefused
from tests.catalogue.test_kinematics import BOOM

EXCAVATOR = shelf_type("crawler-excavator-22t")


@pytest.mark.parametrize(
    ("heading_deg", "left"),
    # The fitting is 1 m to the left of the origin at (10, 20): facing north that is west.
    [(0, (9, 20)), (90, (10, 21)), (180, (11, 20)), (270, (10, 19))],
)
def test_heading_is_a_compass_one(heading_deg, left):
    placed = place(BOOM, Pose(10, 20, heading_deg))
    assert placed.fittings[0].at_m == pytest.approx((*left, 0.5))


def test_solid_planes_hold_its_corners():
    placed = place(EXCAVATOR, Pose(100, -50, 37, slew_deg=20))
    for solid in placed.solids:
        heights = solid.points_m @ solid.planes[:, :3].T + solid.planes[:, 3]
        assert heights.max() == pytest.approx(0, abs=1e-6)
        middle = solid.points_m.mean(axis=0)
        assert np.all(solid.planes[:, :3] @ middle + solid.planes[:, 3] < 0)
        assert solid.footprint.buffer(1e-6).covers(Point(middle[:2]))


def test_block_seen_from_above():
    placed = place(BOOM, Pose(3, 4, 0))
    block = placed.solids[0]
    assert (block.bottom_m, block.top_m, block.footprint.area) == pytest.approx((0, 1, 4))
    # The cylinder sticks out of the block by nothing: pins at 1 m ahead, 0.12 m thick.
    assert placed.outline.bounds == pytest.approx((2, 3, 4, 5.0), abs=0.07)


def test_turning_and_moving_changes_no_distance():
    here = place(EXCAVATOR, Pose(0, 0, 0), posture="greasing")
    there = place(EXCAVATOR, Pose(10_000, 7, 37), posture="greasing")
    one = np.array([f.at_m for f in here.fittings])
    two = np.array([f.at_m for f in there.fittings])
    first = np.linalg.norm(one[:, None] - one[None], axis=2)
    assert np.abs(first - np.linalg.norm(two[:, None] - two[None], axis=2)).max() < 1e-9


def test_slew_moves_the_upperstructure_only():
    straight = place(EXCAVATOR, Pose(0, 0, 0))
    slewed = place(EXCAVATOR, Pose(0, 0, 0, slew_deg=90))
    moved = {
        f.link
        for f, g in zip(straight.fittings, slewed.fittings, strict=True)
        if math.dist(f.at_m, g.at_m) > 1e-9
    }
    assert "undercarriage" not in moved
    assert {"upperstructure", "boom", "stick", "bucket"} <= moved


def test_slew_clear_holds_every_slewed_place():
    placed = place(EXCAVATOR, Pose(5, 5, 30), posture="greasing")
    slewing = EXCAVATOR.below("upperstructure")
    for slew_deg in range(0, 360, 30):
        turned = place(EXCAVATOR, Pose(5, 5, 30, slew_deg=slew_deg), posture="greasing")
        for solid in turned.solids:
            if solid.link in slewing:
                assert placed.slew_clear.covers(solid.footprint)


def test_machine_without_slew_has_no_swept_disc():
    assert place(shelf_type("wheel-loader-20t"), Pose(0, 0, 0)).slew_clear is None


def hanging(name, posture):
    placed = place(shelf_type(name), Pose(0, 0, 0), posture=posture)
    return {solid.link for solid in placed.solids if solid.on_oil}


def test_bucket_on_the_ground_carries_the_front_end():
    assert hanging("crawler-excavator-22t", "parked") == set()


def test_raised_front_end_hangs_on_oil_with_its_cylinders():
    found = hanging("crawler-excavator-22t", "raised")
    assert {"boom", "stick", "bucket", "left boom cylinder", "bucket cylinder"} <= found
    assert not {"undercarriage", "upperstructure"} & found


def test_mechanical_support_counts_as_resting():
    dumper = shelf_type("articulated-dumper-30t")
    assert hanging("articulated-dumper-30t", "raised") >= {"body", "left hoist cylinder"}
    propped = Posture(name="propped", angles_deg={"body": 25}, supported=("body",))
    dumper = dumper.model_copy(update={"postures": (*dumper.postures, propped)})
    placed = place(dumper, Pose(0, 0, 0), posture="propped")
    assert not any(solid.on_oil for solid in placed.solids)


def test_deck_stands_where_its_link_is():
    deck = Deck(
        name="step",
        link="top",
        outline_m=((0, 0), (1, 0), (1, 1), (0, 1)),
        height_m=0.5,
        foot_m=(1.5, 0, 0),
        holds=("steps",),
    )
    machine = BOOM.model_copy(update={"decks": (deck,)})
    placed = place(machine, Pose(10, 20, 0, slew_deg=90)).decks[0]
    assert placed.height_m == pytest.approx(1.5)  # 0.5 above a link that stands 1 m up
    # Facing north and slewed left, the link points west: its x runs to -x, its y to -y.
    assert placed.footprint.bounds == pytest.approx((9, 19, 10, 20))
    assert placed.foot_m == pytest.approx((8.5, 20))
    assert placed.holds == ("steps",)


def test_posture_out_of_limits_is_refused():
    with pytest.raises(PostureRefused, match="382 mm too short"):
        place(BOOM, Pose(0, 0, 0), posture="too low")


@pytest.mark.parametrize("name", shelf_names())
def test_every_type_stands_in_every_posture(name):
    machine = shelf_type(name)
    for posture in machine.postures:
        placed = place(machine, Pose(0, 0, 0), posture=posture.name)
        lowest = min(solid.bottom_m for solid in placed.solids)
        assert -0.03 < lowest < 0.05  # stands on the ground, not in it
        assert len(placed.fittings) == sum(len(j.fittings) for j in machine.joints)


def test_stance_is_worked_out_once_for_each_posture_and_slew():
    machine = EXCAVATOR.model_copy()
    first = stance_of(machine, "parked", slew_deg=0.0)
    place(machine, Pose(3, 4, 50))
    assert stance_of(machine, "parked", slew_deg=0.0) is first
    assert stance_of(machine, "parked", slew_deg=10.0) is not first
    assert set(machine.stances) == {("parked", 0.0), ("parked", 10.0)}


def test_changed_copy_forgets_what_was_worked_out():
    assert place(BOOM, Pose(0, 0, 0)).decks == ()
    higher = BOOM.links[1].model_copy(update={"pivot_m": (0, 0, 5)})
    machine = BOOM.model_copy(update={"links": (BOOM.links[0], higher, BOOM.links[2])})
    tops = [max(s.top_m for s in place(m, Pose(0, 0, 0)).solids) for m in (BOOM, machine)]
    assert tops[1] == pytest.approx(tops[0] + 4)
