"""What a mechanic looks for first: both pins of every cylinder, joints of shafts, steered axles."""

import pytest

from greaseroute.catalogue.shelf import shelf_attachments, shelf_names, shelf_type

every_type = pytest.mark.parametrize("name", shelf_names())
ROTATING_JOINTS = ("universal joint", "sliding spline")

# Fittings that a family commonly has (common practice, no source). A type outside says why.
USUAL_FITTINGS = {
    "excavator": (15, 25),
    "loader": (15, 30),
    "backhoe loader": (30, 45),
    "grader": (25, 40),
    "dozer": (5, 15),
    "scraper": (20, 40),
    "roller": (4, 10),
}
USUAL_OF_DUMPERS = (15, 30)
ARGUED = {
    "wheeled-excavator-17t": "23 of the front end, 20 more of axle, steering, shaft and blade",
    "grader-18t": "cylinders of steering, wheel lean, blade tip and side shift, and a shaft",
    "backhoe-loader-8t": "one over: sliding-frame clamps and tie rods are counted",
    "skid-steer-loader-3t": "small, without articulation or shafts: 14",
    "tracked-carrier-3t": "no axles, no steering: two skip pins, two cylinders, a pedal shaft",
}


def pumped(machine):
    return [f for j in machine.joints if not j.never_pump for f in j.fittings]


@every_type
def test_counts_lie_in_the_usual_range_or_are_argued(name):
    machine = shelf_type(name)
    usual = USUAL_FITTINGS.get(machine.family)
    if machine.family == "dumper":
        usual = USUAL_OF_DUMPERS
    if usual is not None:
        inside = usual[0] <= len(pumped(machine)) <= usual[1]
        assert inside == (name not in ARGUED), (len(pumped(machine)), usual)


def ends_without_a_joint(cylinders, joints):
    """Ends of cylinders that no joint of the cylinder and its link greases."""
    mentioned = {frozenset(joint.links) for joint in joints}
    for cylinder in cylinders:
        for end, link in (("base", cylinder.head_link), ("rod", cylinder.rod_link)):
            pairs = [j for j in joints if set(j.links) == {link, cylinder.name}]
            same = cylinder.head_link == cylinder.rod_link
            if frozenset((link, cylinder.name)) not in mentioned or (same and len(pairs) < 2):
                yield cylinder.name, end


@every_type
def test_every_cylinder_has_both_pins(name):
    machine = shelf_type(name)
    assert list(ends_without_a_joint(machine.cylinders, machine.joints)) == []
    for attachment in machine.attachments:
        assert list(ends_without_a_joint(attachment.cylinders, attachment.joints)) == []


def test_every_cylinder_of_an_attachment_has_both_pins():
    for attachment in shelf_attachments().values():
        assert list(ends_without_a_joint(attachment.cylinders, attachment.joints)) == []


@every_type
def test_no_line_runs_to_what_turns_without_end(name):
    machine = shelf_type(name)
    spinning = {link.name for link in machine.links if link.spins}
    for joint in machine.joints:
        for fitting in joint.fittings:
            if fitting.head == "remote":
                assert joint.kind not in ROTATING_JOINTS, joint.name
                assert (fitting.feeds or fitting.link) not in spinning, joint.name


@every_type
def test_every_shaft_has_its_universal_joints_and_its_spline(name):
    machine = shelf_type(name)
    for link in machine.links:
        if link.role == "drive shaft":
            mine = [joint for joint in machine.joints if link.name in joint.links]
            crosses = [f for j in mine if j.kind == "universal joint" for f in j.fittings]
            assert len(crosses) >= 2, link.name
            assert any(joint.kind == "sliding spline" for joint in mine), link.name
            assert all(f.head != "remote" for j in mine if j.kind in ROTATING_JOINTS
                       for f in j.fittings)  # fmt: skip


@every_type
def test_universal_joints_are_turned_to_bring_their_fittings_up(name):
    for joint in shelf_type(name).joints:
        if joint.kind == "universal joint":
            assert joint.procedure is not None, joint.name
            assert joint.procedure.kind == "turn shaft"


@every_type
def test_every_steered_axle_has_kingpins_and_rods(name):
    machine = shelf_type(name)
    for axle in (link for link in machine.links if link.role == "steered axle"):
        knuckles = [k for k in machine.links if k.parent == axle.name and k.axis == "steer"]
        assert len(knuckles) == 2, axle.name
        for knuckle in knuckles:
            kingpins = [j for j in machine.joints if j.kind == "kingpin"
                        and set(j.links) == {axle.name, knuckle.name}]  # fmt: skip
            assert sum(len(j.fittings) for j in kingpins) >= 2, knuckle.name
            assert any(j.kind == "steering rod" and knuckle.name in j.links for j in machine.joints)


@every_type
def test_kingpins_are_greased_at_full_lock(name):
    """By a procedure, or in a posture of its own in which the wheels stand at full lock."""
    machine = shelf_type(name)
    for joint in machine.joints:
        if joint.kind == "kingpin" and joint.by_hand and joint.within_reach:
            told = joint.procedure is not None and joint.procedure.kind == "full lock"
            postures = [p for p in joint.postures if "full lock" in p]
            assert told or len(postures) == 2 or "castor" in joint.name, joint.name


@pytest.mark.parametrize(
    ("name", "kinds"),
    [
        ("crawler-excavator-22t", {"slew"}),
        ("crawler-excavator-36t", {"slew", "two positions"}),
        ("wheel-loader-20t", {"turn shaft"}),
        ("wheel-loader-30t-central", {"turn shaft", "two positions"}),
        ("telescopic-handler-10t", {"full lock", "turn shaft"}),
    ],
)
def test_procedures_of_a_type(name, kinds):
    found = {j.procedure.kind for j in shelf_type(name).joints if j.procedure} - {"other"}
    assert found >= kinds


def test_a_step_by_a_second_person_asks_for_one():
    joint = shelf_type("crawler-excavator-36t").joint("boom foot pin")
    assert joint.procedure.second_person
    assert joint.procedure.minutes == 2.0  # 1.5 for the move and 0.5 for the rest, as written
    assert [step.by for step in joint.procedure.steps] == [
        "technician", "second person", "technician"
    ]  # fmt: skip


def test_the_breaker_is_the_operators_job_and_stands_upright():
    breaker = shelf_attachments()["hydraulic breaker"]
    (joint,) = breaker.joints
    assert joint.done_by == "operator"
    assert not joint.by_hand
    assert joint.grease.purpose == "chisel paste"
    assert joint.procedure.kind == "press upright"
    assert joint.postures == ("tool upright",)
    assert {rest.posture: rest.ground_deg for rest in breaker.rests}["tool upright"] == -90.0
    assert joint.interval.hours == 2.0
    assert "breaker greased" in {look.name for look in breaker.looks}


def test_a_central_system_has_its_checks_and_its_refill():
    for name in ("crawler-excavator-22t-central", "wheel-loader-30t-central"):
        machine = shelf_type(name)
        checks = {look.name for look in machine.looks}
        assert {f"central lubrication {what}" for what in ("reservoir level", "fault lamp", "lines")
                } <= checks  # fmt: skip
        refill = machine.joint("central lubrication reservoir")
        assert refill.kind == "reservoir"
        assert refill.by_hand


def test_doses_say_until_fresh_grease_shows():
    """At pins that turn; bearings and bevels get a measured dose."""
    counts = [joint.dose.until_fresh for name in shelf_names() for joint in shelf_type(name).joints
              if joint.dose is not None]  # fmt: skip
    assert sum(counts) > len(counts) / 5
    for name in shelf_names():
        for joint in shelf_type(name).joints:
            if joint.kind == "bearing":
                assert not joint.dose.until_fresh, (name, joint.name)
