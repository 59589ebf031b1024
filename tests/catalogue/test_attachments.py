"""Attachments: those of one type, and those that are files and hang on any carrier."""

import pytest

from greaseroute.catalogue.checks.names import name_findings
from greaseroute.catalogue.checks.shapes import shape_findings
from greaseroute.catalogue.hanging import fitting_names, hung
from greaseroute.catalogue.kinematics.link_frames import link_angles
from greaseroute.catalogue.kinematics.placed import Pose, place
from greaseroute.catalogue.shelf import (
    read_attachment,
    shelf_attachments,
    shelf_names,
    shelf_type,
)
from greaseroute.errors import UnknownName

EXCAVATOR = shelf_type("crawler-excavator-22t")
ON_HAND = shelf_attachments()


def fittings(machine):
    return sum(len(joint.fittings) for joint in machine.joints)


def hang(carrier, *names):
    return hung(carrier, names, on_hand=ON_HAND)


def lowest_m(machine, posture, links):
    placed = place(machine, Pose(0, 0, 0), posture=posture)
    return min(solid.bottom_m for solid in placed.solids if solid.link in links)


def carriers():
    """Every attachment on every carrier of the shelf that it fits, and behind the coupler."""
    for name in shelf_names():
        names = fitting_names(shelf_type(name), ON_HAND)
        for attachment in names:
            yield name, (attachment,)
        if "quick coupler" in names:
            yield name, ("quick coupler", "hydraulic breaker")


def test_eight_attachments_at_least():
    assert len(ON_HAND) >= 8
    assert {"hydraulic breaker", "quick coupler", "sorting grab", "earth auger", "pallet forks",
            "sweeper", "tilting grading bucket", "trenching bucket"} <= set(ON_HAND)  # fmt: skip


def test_every_attachment_fits_some_carrier_and_most_fit_several():
    taken = [names[-1] for _, names in carriers() if len(names) == 1]
    counts = {name: taken.count(name) for name in ON_HAND}
    assert min(counts.values()) >= 4, counts


@pytest.mark.parametrize(("name", "names"), list(carriers()))
def test_hung_on_it_closes_fits_and_lies_on_the_ground(name, names):
    machine = hang(shelf_type(name), *names)
    assert list(name_findings(machine)) == []
    assert list(shape_findings(machine)) == []
    moved = machine.below(ON_HAND[names[0]].links[0].name)
    for posture in ("parked", "greasing"):
        assert lowest_m(machine, posture, moved) == pytest.approx(0.0, abs=0.051)


def test_breaker_takes_the_place_of_the_bucket():
    machine = hang(EXCAVATOR, "hydraulic breaker")
    assert "bucket" not in machine.links_by_name
    assert machine.four_bars[0].rocker == "breaker"
    assert machine.joint("bucket pin").links == ("stick", "breaker")
    assert {f.link for f in machine.joint("bucket pin").fittings} == {"breaker"}
    assert "bucket" not in machine.posture("parked").angles_deg
    assert "teeth and cutting edge" not in {look.name for look in machine.looks}


def test_breaker_stands_upright_in_a_posture_of_its_own():
    machine = hang(EXCAVATOR, "hydraulic breaker")
    angles = link_angles(machine, "tool upright")
    upright = angles["boom"] + angles["stick"] + angles["breaker"]
    assert upright == pytest.approx(-90.0, abs=6.0)
    assert lowest_m(machine, "tool upright", {"breaker"}) == pytest.approx(0.0, abs=1e-6)


def test_a_tool_grows_with_the_pin_of_its_carrier():
    lengths = {}
    for name, pin_mm in (("crawler-excavator-22t", 80.0), ("mini-excavator-6t", 45.0)):
        machine = hang(shelf_type(name), "hydraulic breaker")
        tip = next(s for s in machine.links_by_name["breaker"].solids if s.name == "tool")
        lengths[pin_mm] = tip.box_m[1][0]
    assert lengths[80.0] == pytest.approx(2.5)
    assert lengths[45.0] == pytest.approx(2.5 * pin_mm / 80, abs=1e-4)


def test_quick_coupler_carries_the_bucket_and_has_joints_of_its_own():
    machine = hang(EXCAVATOR, "quick coupler")
    assert machine.links_by_name["bucket"].parent == "quick coupler"
    assert machine.four_bars[0].rocker == "quick coupler"
    assert machine.joint("bucket pin").links == ("stick", "quick coupler")
    assert "teeth and cutting edge" in {look.name for look in machine.looks}
    own = sum(len(j.fittings) for j in ON_HAND["quick coupler"].joints)
    assert fittings(machine) == fittings(EXCAVATOR) + own


def test_a_tool_hangs_on_the_coupler_that_hangs_on_the_stick():
    machine = hang(EXCAVATOR, "quick coupler", "hydraulic breaker")
    assert machine.links_by_name["breaker"].parent == "quick coupler"
    assert "bucket" not in machine.links_by_name
    assert machine.joint("breaker tool bushing").done_by == "operator"


def test_names_of_before_still_hang_on():
    assert "breaker" in hang(EXCAVATOR, "breaker").links_by_name
    assert "quick coupler" in hang(EXCAVATOR, "quick hitch").links_by_name
    assert "fork carriage" in hang(shelf_type("wheel-loader-20t"), "fork carriage").links_by_name


def test_what_does_not_fit_says_what_would():
    told = (
        "hydraulic breaker, made for bucket pins of 25 to 110 mm; allowed: what fits this carrier"
    )
    with pytest.raises(UnknownName, match=f"{told}: loader pins of 80 mm"):
        hang(shelf_type("wheel-loader-20t"), "hydraulic breaker")


def test_unknown_attachment_lists_those_that_fit():
    with pytest.raises(UnknownName, match=r"plough; allowed: earth auger, hydraulic breaker, "):
        hang(EXCAVATOR, "plough")


def test_an_attachment_file_with_mistakes_names_their_lines():
    text = (
        'name = "rake"\ntitle = "Rake"\norigin = "ours"\n'
        'fits = [{ kind = "bucket pin", pins_mm = [40.0, 90.0], drawn_for_mm = 60.0 }]\n'
        '[[links]]\nname = "rake"\n[[looks]]\nname = "tines"\nlink = "rake"\n'
        'position_m = [0.0, 0.0, 0.0]\nwhat = "none lost"\n'
    )
    found, faults = read_attachment(text, "attachments/rake.toml")
    assert found is None
    told = [(f.line, f.field, f.value) for f in faults]
    assert (4, "kind", "bucket pin") in [(n, f.split(".")[-1], v) for n, f, v in told]
    _, faults = read_attachment(text.replace("bucket pin", "bucket pins"), "attachments/rake.toml")
    assert [str(f) for f in faults] == [
        "attachments/rake.toml:7: look 'tines': interval = 'missing'; allowed: hours, days or "
        "every_shift; add how often the check is due"
    ]


# ---- those of one type alone


def test_thumb_keeps_the_postures_and_adds_its_angle():
    machine = EXCAVATOR.with_attachments(["thumb"])
    old, new = EXCAVATOR.posture("greasing"), machine.posture("greasing")
    assert new.angles_deg == {**old.angles_deg, "thumb": -172.0}
    assert new.title == old.title
    assert len(machine.cylinders) == len(EXCAVATOR.cylinders) + 1


def test_own_and_other_attachments_together():
    machine = hang(EXCAVATOR, "thumb", "quick coupler")
    # The thumb has 2 + 1 + 1 fittings, the coupler 1 + 2.
    assert fittings(machine) == fittings(EXCAVATOR) + 4 + 3
    assert place(machine, Pose(0, 0, 0), posture="greasing").fittings


def test_what_was_worked_out_for_the_old_type_is_not_carried_over():
    assert EXCAVATOR.bodies
    assert EXCAVATOR.links_by_name
    machine = hang(EXCAVATOR, "hydraulic breaker")
    assert "breaker" in {body.link for body in machine.bodies}
    assert "breaker" in link_angles(machine, "parked")


def test_no_attachment_changes_nothing():
    assert EXCAVATOR.with_attachments([]) is EXCAVATOR
    assert hang(EXCAVATOR) is EXCAVATOR


def test_hung_on_twice_it_is_the_same_machine_and_a_changed_type_hangs_on_anew():
    machine = EXCAVATOR.with_attachments(["thumb"])
    assert EXCAVATOR.with_attachments(("thumb",)) is machine
    changed = EXCAVATOR.model_copy(update={"title": "another"})
    assert changed.with_attachments(["thumb"]).title == "another"
