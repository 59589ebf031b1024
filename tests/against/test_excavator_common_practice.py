"""The crawler excavators against what the trade does: common practice, no source.

A slew ring with four fittings at 90 degrees, three to four strokes each, then turned both ways
with a second person at the controls and the technician standing clear; a slew pinion in grease;
the front end complete; a track-tension fitting that is never pumped.
"""

import math

import pytest

from greaseroute.catalogue.kinematics.placed import Pose, place
from greaseroute.catalogue.shelf import shelf_names, shelf_type

CRAWLERS = [name for name in shelf_names() if name.startswith("crawler-excavator")]
FRONT_END = {
    "boom foot pin",
    "boom-to-stick pin",
    "bucket pin",
    # every pin of the tipping linkage
    "tipping link pin",
    "tipping link to H-link pin",
    "H-link to bucket pin",
    # both ends of two boom cylinders, the stick cylinder and the bucket cylinder
    "left boom cylinder base end",
    "left boom cylinder rod end",
    "right boom cylinder base end",
    "right boom cylinder rod end",
    "stick cylinder base end",
    "stick cylinder rod end",
    "bucket cylinder base end",
    "bucket cylinder rod end",
}

pytestmark = pytest.mark.parametrize("name", CRAWLERS)


def test_there_are_three_sizes(name):
    sizes = {shelf_type(n).operating_mass_kg for n in CRAWLERS if not n.endswith("central")}
    assert len(sizes) == 3
    assert name in shelf_names()


def test_slew_ring_has_four_fittings_at_90_degrees(name):
    ring = shelf_type(name).joint("slew ring")
    around = sorted(
        math.degrees(math.atan2(f.feeds_m[1], f.feeds_m[0])) % 360 for f in ring.fittings
    )
    assert around == pytest.approx([0, 90, 180, 270], abs=0.1)
    radii = [math.hypot(f.feeds_m[0], f.feeds_m[1]) for f in ring.fittings]
    assert max(radii) - min(radii) < 2e-3


def test_slew_ring_is_pumped_turned_both_ways_and_stood_clear_of(name):
    ring = shelf_type(name).joint("slew ring")
    assert ring.dose.strokes == (3, 4)
    procedure = ring.procedure
    assert procedure.second_person
    assert procedure.stand_clear
    assert procedure.turns == 2
    steps = " ".join(step.do for step in procedure.steps)
    assert "to the left" in steps
    assert "to the right" in steps


def test_stand_clear_ground_is_outside_the_swing_radius(name):
    placed = place(shelf_type(name), Pose(0, 0, 0), posture="greasing")
    tip_m = max(
        math.hypot(*corner[:2])
        for solid in placed.solids
        if solid.link not in ("undercarriage",)
        for corner in solid.points_m
    )
    bounds = placed.slew_clear.bounds
    assert bounds[2] >= tip_m
    assert bounds[2] < tip_m * 1.01


def test_slew_pinion_stands_in_grease(name):
    pinion = shelf_type(name).joint("slew pinion")
    assert pinion.kind == "pinion grease bath"
    assert pinion.dose.cm3 is not None  # topped up by quantity, not by strokes
    # Opened, looked into for water, its depth read, and only then topped up.
    steps = " ".join(step.do for step in pinion.procedure.steps)
    assert steps.index("Open") < steps.index("water") < steps.index("depth") < steps.index("Top up")


def test_front_end_is_complete(name):
    names = {joint.name for joint in shelf_type(name).joints}
    assert names >= FRONT_END


def test_each_cylinder_has_a_pin_at_either_end(name):
    machine = shelf_type(name)
    ends = {
        (cylinder.name, end)
        for cylinder in machine.cylinders
        for end in ("base end", "rod end")
        if f"{cylinder.name} {end}" in FRONT_END
    }
    assert len(machine.cylinders) == 4
    assert len(ends) == 8


def test_track_tension_is_never_pumped(name):
    tension = shelf_type(name).joint("track tension")
    assert tension.never_pump
    assert tension.dose is None
    assert "TRACK" in tension.cautions
    assert any(look.name.endswith("track sag") for look in shelf_type(name).looks)


@pytest.mark.parametrize("posture", ["parked", "greasing"])
def test_bucket_is_flat_on_the_ground(name, posture):
    placed = place(shelf_type(name), Pose(0, 0, 90), posture=posture)
    (shell,) = (s for s in placed.solids if s.name == "shell")
    low = shell.points_m[shell.points_m[:, 2] < 0.02]
    # The floor of the bucket, from teeth to heel, lies on the ground: more than half a metre.
    assert low[:, 0].max() - low[:, 0].min() > 0.5
    assert not any(solid.on_oil for solid in placed.solids)
