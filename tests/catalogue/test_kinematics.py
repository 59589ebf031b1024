"""Angles, frames and cylinder lengths, on a machine small enough to work out by hand."""

import math

import numpy as np
import pytest

from greaseroute.catalogue.joint import Dose, Fitting, Interval, Joint
from greaseroute.catalogue.kinematics.link_frames import (
    check_cylinders,
    cylinder_lengths,
    four_bar_residual,
    link_angles,
    link_frames,
)
from greaseroute.catalogue.link import Link, Solid
from greaseroute.catalogue.linkage import Cylinder, FourBar
from greaseroute.catalogue.machine_type import MachineType
from greaseroute.catalogue.posture import Posture
from greaseroute.errors import PostureRefused, UnknownName

BLOCK = Solid(name="block", box_m=((-1, -1, 0), (1, 1, 1)))
# A boom of 2 m on a turntable 1 m up; its cylinder from 1 m ahead of the pivot, at its height,
# to 1 m along the boom.
BOOM = MachineType(
    name="boom-on-a-block",
    family="excavator",
    title="boom on a block",
    origin="made up for the tests",
    operating_mass_kg=1000,
    links=(
        Link(name="base", solids=(BLOCK,)),
        Link(name="top", parent="base", pivot_m=(0, 0, 1), axis="slew"),
        Link(name="boom", parent="top", axis="pitch", on_oil=True),
    ),
    cylinders=(
        Cylinder(
            name="boom cylinder",
            head_link="top",
            head_pin_m=(1, 0, 0),
            rod_link="boom",
            rod_pin_m=(1, 0, 0),
            retracted_m=0.9,
            extended_m=1.5,
            rod_side="right",
        ),
    ),
    postures=(
        Posture(name="parked", angles_deg={"boom": 60}),
        Posture(name="greasing", angles_deg={"boom": 90}),
        Posture(name="too low", angles_deg={"boom": 30}),
        Posture(name="forgotten"),
    ),
    joints=(
        Joint(
            name="boom root",
            links=("top", "boom"),
            fittings=(Fitting(name="left", link="base", position_m=(0, 1, 0.5)),),
            dose=Dose(cm3=(1, 2)),
            interval=Interval(hours=10),
        ),
    ),
)


def test_pitch_raises_what_lies_forward():
    tip = link_frames(BOOM, "greasing")["boom"] @ np.array((2, 0, 0, 1))
    assert tip[:3] == pytest.approx((0, 0, 3))  # 2 m of boom straight up from 1 m


def test_slew_turns_to_the_left():
    # 60 degrees up leaves 2 cos 60 = 1 m of reach; a quarter to the left points it along +y.
    tip = link_frames(BOOM, "parked", 90.0)["boom"] @ np.array((2, 0, 0, 1))
    assert tip[:3] == pytest.approx((0, 1, 1 + math.sqrt(3)))


def test_cylinder_length_is_the_chord():
    # Both pins 1 m from the pivot, 60 degrees apart: an equilateral triangle.
    assert cylinder_lengths(BOOM, "parked") == pytest.approx({"boom cylinder": 1.0})


def test_cylinder_out_of_its_stroke_is_refused_with_the_numbers():
    # 30 degrees apart: chord 2 sin 15 = 0.5176 m, 0.9 - 0.5176 = 382 mm short.
    with pytest.raises(PostureRefused) as caught:
        check_cylinders(BOOM, "too low", link_frames(BOOM, "too low"))
    assert caught.value.record == "boom-on-a-block, posture too low"
    assert caught.value.value == "boom cylinder 0.52 m, allowed 0.90 to 1.50; 382 mm too short"


def test_cylinder_too_long_is_told_as_such():
    posture = Posture(name="high", angles_deg={"boom": 120})  # chord 2 sin 60 = 1.732
    with pytest.raises(PostureRefused, match=r"1\.73 m, allowed 0\.90 to 1\.50; 232 mm too long"):
        check_cylinders(BOOM, posture, link_frames(BOOM, posture))


def test_length_in_the_posture_drives_the_link():
    posture = Posture(name="by length", lengths_m={"boom cylinder": 1.0})
    assert link_angles(BOOM, posture)["boom"] == pytest.approx(60.0)


def test_rod_side_says_which_of_two_angles():
    # The other meeting of the two circles is the mirror image below the pivots.
    other = BOOM.cylinders[0].model_copy(update={"rod_side": "left"})
    machine = BOOM.model_copy(update={"cylinders": (other,)})
    posture = Posture(name="by length", lengths_m={"boom cylinder": 1.0})
    assert link_angles(machine, posture)["boom"] == pytest.approx(-60.0)


def test_impossible_length_says_by_how_much():
    # The pins can be at most 2 m apart.
    posture = Posture(name="by length", lengths_m={"boom cylinder": 2.1})
    with pytest.raises(PostureRefused, match=r"boom cylinder at 2\.100 m: .* too close by 100 mm"):
        link_angles(BOOM, posture)


def test_missing_angle_is_refused():
    with pytest.raises(PostureRefused, match="boom: no angle given"):
        link_frames(BOOM, "forgotten")


def test_unknown_posture_lists_the_known_ones():
    with pytest.raises(UnknownName, match="'dancing'; allowed: parked, greasing, too low"):
        link_frames(BOOM, "dancing")


# A parallelogram: ground pins 1 m apart, crank and rocker 0.5 m, coupler 1 m.
PARALLELOGRAM = BOOM.model_copy(
    update={
        "links": (
            Link(name="ground", solids=(BLOCK,)),
            Link(name="crank", parent="ground", axis="pitch"),
            Link(name="coupler", parent="crank", pivot_m=(0.5, 0, 0), axis="pitch"),
            Link(name="rocker", parent="ground", pivot_m=(1, 0, 0), axis="pitch"),
        ),
        "cylinders": (),
        "four_bars": (
            FourBar(
                name="parallelogram",
                ground="ground",
                crank="crank",
                coupler="coupler",
                rocker="rocker",
                coupler_pin_m=(1, 0, 0),
                rocker_pin_m=(0.5, 0, 0),
                rocker_side="left",
                crank_side="right",
            ),
        ),
    }
)


@pytest.mark.parametrize("given", ["crank", "rocker"])
def test_parallelogram_turns_as_one(given):
    posture = Posture(name="drawn", angles_deg={given: 70})
    angles = link_angles(PARALLELOGRAM, posture)
    assert angles == pytest.approx({"crank": 70, "coupler": -70, "rocker": 70})
    frames = link_frames(PARALLELOGRAM, posture)
    assert four_bar_residual(PARALLELOGRAM.four_bars[0], frames) < 1e-12


def test_four_bar_needs_one_angle():
    with pytest.raises(PostureRefused, match="no angle given for crank or rocker"):
        link_angles(PARALLELOGRAM, Posture(name="drawn"))


def test_four_bar_that_cannot_close_says_by_how_much():
    # Crank pin turned straight back lies 1.5 m from the rocker's pivot; 0.3 + 0.5 m reach 0.8.
    bar = PARALLELOGRAM.four_bars[0].model_copy(update={"coupler_pin_m": (0.3, 0, 0)})
    machine = PARALLELOGRAM.model_copy(update={"four_bars": (bar,)})
    with pytest.raises(PostureRefused, match=r"parallelogram: .*too far apart by 700 mm"):
        link_angles(machine, Posture(name="drawn", angles_deg={"crank": 180}))
