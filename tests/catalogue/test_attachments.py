"""Attachments add and replace; what they replace is gone everywhere."""

import pytest

from greaseroute.catalogue.kinematics.link_frames import link_angles
from greaseroute.catalogue.kinematics.placed import Pose, place
from greaseroute.catalogue.shelf import shelf_type
from greaseroute.errors import UnknownName

EXCAVATOR = shelf_type("crawler-excavator-22t")


def fittings(machine):
    return sum(len(joint.fittings) for joint in machine.joints)


def test_breaker_takes_the_place_of_the_bucket():
    machine = EXCAVATOR.with_attachments(["breaker"])
    assert "bucket" not in machine.links_by_name
    assert machine.four_bars[0].rocker == "breaker"
    assert machine.joint("arm-bucket pin").links == ("arm", "breaker")
    assert {f.link for f in machine.joint("arm-bucket pin").fittings} == {"breaker"}
    assert "bucket" not in machine.posture("parked").angles_deg


def test_breaker_adds_its_own_joint():
    machine = EXCAVATOR.with_attachments(["breaker"])
    assert machine.joint("breaker tool bushing").critical == 3
    assert fittings(machine) == fittings(EXCAVATOR) + 1


def test_thumb_keeps_the_postures_and_adds_its_angle():
    machine = EXCAVATOR.with_attachments(["thumb"])
    old, new = EXCAVATOR.posture("greasing"), machine.posture("greasing")
    assert new.angles_deg == {**old.angles_deg, "thumb": -172.0}
    assert new.title == old.title
    assert len(machine.cylinders) == len(EXCAVATOR.cylinders) + 1


def test_two_attachments_together():
    machine = EXCAVATOR.with_attachments(["thumb", "quick hitch"])
    # The thumb has 2 + 1 + 1 fittings, the hitch lock 2.
    assert fittings(machine) == fittings(EXCAVATOR) + 4 + 2
    assert place(machine, Pose(0, 0, 0), posture="greasing").fittings


def test_what_was_worked_out_for_the_old_type_is_not_carried_over():
    assert EXCAVATOR.bodies
    assert EXCAVATOR.links_by_name
    machine = EXCAVATOR.with_attachments(["breaker"])
    assert "breaker" in {body.link for body in machine.bodies}
    assert "breaker" in link_angles(machine, "parked")


def test_no_attachment_changes_nothing():
    assert EXCAVATOR.with_attachments([]) is EXCAVATOR


def test_hung_on_twice_it_is_the_same_machine_and_a_changed_type_hangs_on_anew():
    machine = EXCAVATOR.with_attachments(["thumb", "quick hitch"])
    assert EXCAVATOR.with_attachments(("thumb", "quick hitch")) is machine
    assert EXCAVATOR.with_attachments(["thumb"]) is not machine
    changed = EXCAVATOR.model_copy(update={"title": "another"})
    assert changed.with_attachments(["thumb", "quick hitch"]).title == "another"


def test_unknown_attachment():
    with pytest.raises(UnknownName, match="'plough'; allowed: breaker, thumb, quick hitch"):
        EXCAVATOR.with_attachments(["plough"])
