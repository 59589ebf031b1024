"""Angles, frames and cylinder lengths, on a machine small enough to work out by hand."""

import math

import numpy as np
import pytest

from greaseroute.catalogue.joint import Dose, Fitting, Interval, Joint
from greaseroute.catalogue.kinematics.ground_rest import Ground, set_down
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


def test_a_length_without_a_side_is_refused():
    bare = BOOM.cylinders[0].model_copy(update={"rod_side": None})
    machine = BOOM.model_copy(update={"cylinders": (bare,)})
    with pytest.raises(PostureRefused) as caught:
        link_angles(machine, Posture(name="by length", lengths_m={"boom cylinder": 1.0}))
    assert str(caught.value).endswith(
        "boom-on-a-block, posture by length: boom cylinder: no rod_side given; allowed: chains "
        "that close, every angle known; say left or right"
    )


def test_a_cylinder_that_stands_aslant_is_longer_than_its_chord():
    # Seen along the pivots the pins are 0.8 m apart: 2 asin 0.4 = 47.156 degrees. Across they are
    # 0.3 - 0.05 + 0.1 = 0.35 m apart, where the boom's foot itself lies 0.05 m to the left.
    aslant = BOOM.cylinders[0].model_copy(
        update={"head_pin_m": (1, 0.3, 0), "rod_pin_m": (1, -0.1, 0)}
    )
    base, top, boom = BOOM.links
    links = (base, top, boom.model_copy(update={"pivot_m": (0, 0.05, 0)}))
    machine = BOOM.model_copy(update={"cylinders": (aslant,), "links": links})
    length_m = math.hypot(0.8, 0.35)
    posture = Posture(name="by length", lengths_m={"boom cylinder": length_m})
    assert link_angles(machine, posture)["boom"] == pytest.approx(47.1564, abs=1e-4)
    assert cylinder_lengths(machine, posture)["boom cylinder"] == pytest.approx(length_m)


def test_a_cylinder_from_the_base_gets_longer_as_the_top_turns():
    # Half a turn puts the rod pin, 0.5 m ahead and 0.866 m up, as far behind: sqrt(1.5^2 + 0.75).
    held = BOOM.cylinders[0].model_copy(update={"head_link": "base", "head_pin_m": (1, 0, 1)})
    machine = BOOM.model_copy(update={"cylinders": (held,)})
    assert cylinder_lengths(machine, "parked")["boom cylinder"] == pytest.approx(1.0)
    turned = cylinder_lengths(machine, "parked", 180.0)["boom cylinder"]
    assert turned == pytest.approx(math.sqrt(3))


def test_the_gap_of_a_four_bar_is_measured_in_its_plane():
    # The coupler's pin at 1 - 0.8 = 0.2 m, the rocker's at 0.5: 0.3 apart, 0.4 up; 0.7 aside does
    # not count.
    bar = PARALLELOGRAM.four_bars[0]
    moved = np.eye(4)
    moved[:3, 3] = (-0.8, 0.7, 0.4)
    frames = {"ground": np.eye(4), "rocker": np.eye(4), "coupler": moved}
    assert four_bar_residual(bar, frames) == pytest.approx(0.5)


# The boom with a hammer of 0.5 m hung on its tip.
HAMMER = BOOM.model_copy(
    update={
        "links": (
            *BOOM.links,
            Link(
                name="hammer",
                parent="boom",
                pivot_m=(2, 0, 0),
                axis="pitch",
                solids=(Solid(name="block", box_m=((-0.1, -0.1, -0.5), (0.1, 0.1, 0))),),
            ),
        ),
        "cylinders": (),
    }
)


@pytest.mark.parametrize(("from_deg", "boom_deg"), [(60, -14.4775), (-170, -165.5225)])
def test_a_tool_is_set_down_with_the_least_change(from_deg, boom_deg):
    # Upright on the ground its pin is 0.5 m up, the boom's foot 1 m: sin = -0.25, two angles.
    before = Posture(name="up", angles_deg={"boom": from_deg, "hammer": 0})
    laid = set_down(HAMMER, before, tool="hammer", ground=Ground(0.0))
    assert laid is not None
    assert laid.angles_deg["boom"] == pytest.approx(boom_deg, abs=1e-4)
    assert laid.angles_deg["hammer"] == pytest.approx(-boom_deg, abs=1e-4)
    tip = link_frames(HAMMER, laid)["hammer"] @ np.array((0, 0, -0.5, 1))
    assert tip[2] == pytest.approx(0.0, abs=1e-9)


def test_a_tool_out_of_reach_of_the_ground_is_not_set_down():
    high = tuple(
        link.model_copy(update={"pivot_m": (0, 0, 5)}) if link.name == "top" else link
        for link in HAMMER.links
    )
    machine = HAMMER.model_copy(update={"links": high})
    before = Posture(name="up", angles_deg={"boom": 60, "hammer": 0})
    assert set_down(machine, before, tool="hammer", ground=Ground(0.0)) is None
