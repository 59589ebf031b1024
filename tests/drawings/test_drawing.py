"""Drawings of machines: what they show and where."""

import re
from xml.etree import ElementTree as ET

import pytest

from greaseroute.cards.type_sheet import (
    contact_sheet,
    numbered_fittings,
    numbered_scene,
    type_at_home,
)
from greaseroute.catalogue.kinematics.placed import Pose, place
from greaseroute.drawings.drawing import scene, side_view, top_view
from greaseroute.drawings.drawing_marks import Mark, StandMark
from greaseroute.drawings.machine_shapes import shapes
from tests.cards import sample


def circles(svg, class_):
    return [
        (float(c.get("cx")), float(c.get("cy")))
        for c in ET.fromstring(svg).iter("{http://www.w3.org/2000/svg}circle")
        if c.get("class") == class_
    ]


@pytest.fixture(scope="module")
def digger():
    return sample.digger()


def test_a_unit_turned_and_moved_is_drawn_the_same(digger):
    """The drawing is in the machine's own frame, whatever way the unit stands on the site."""

    def drawn(pose):
        placed = place(digger, pose)
        marks = [Mark(str(k), f.at_m) for k, f in enumerate(placed.fittings)]
        shown = scene(placed, marks=marks)
        return circles(side_view(shown), "m-fit") + circles(top_view(shown), "m-fit")

    home, away = drawn(Pose(0, 0, 90)), drawn(Pose(412, -73, 217))
    assert len(home) == 12
    for one, other in zip(home, away, strict=True):
        assert one == pytest.approx(other, abs=0.11)  # coordinates carry one decimal


def test_front_is_to_the_right_and_up_is_up(digger):
    marks = [Mark("1", (0, 0, 0)), Mark("2", (2, 0, 0)), Mark("3", (0, 0, 2)), Mark("4", (0, 1, 0))]
    shown = scene(digger, marks=marks)
    (x1, y1), (x2, y2), (x3, y3), (x4, y4) = circles(side_view(shown), "m-fit")
    assert x2 > x1
    assert y2 == y1  # forward: to the right
    assert y3 < y1
    assert x3 == x1  # up: up
    assert (x4, y4) == (x1, y1)  # left is away from the eye
    (x1, y1), (x2, y2), _, (x4, y4) = circles(top_view(shown), "m-fit")
    assert x2 > x1
    assert y2 == y1
    assert y4 < y1
    assert x4 == x1  # seen from above, left is up


def test_north_arrow_turns_with_the_heading(digger):
    def letter(heading):
        svg = top_view(scene(place(digger, Pose(0, 0, heading))))
        texts = ET.fromstring(svg).iter("{http://www.w3.org/2000/svg}text")
        return next((float(t.get("x")), float(t.get("y"))) for t in texts if t.text == "N")

    # Facing north the front (right) is north: the letter stands left of the tail; facing east
    # north is up and the letter below.
    (xn, yn), (xe, ye) = letter(0), letter(90)
    assert xn < xe
    assert ye > yn


def test_a_type_by_itself_has_no_north(digger):
    assert ">N</text>" not in top_view(scene(digger))
    shown = numbered_scene(type_at_home(digger, posture="parked"), north=False)
    assert ">N</text>" not in top_view(shown)


def test_marks_differ_in_shape(digger):
    marks = [Mark("1", (0, 0, 1)), Mark("no", (1, 0, 1), "never"), Mark("L1", (2, 0, 1), "look")]
    svg = side_view(scene(digger, marks=marks))
    assert len(circles(svg, "m-fit")) == 1
    assert svg.count('class="m-no"') == 1
    assert svg.count('stroke-dasharray="3 2"') == 1
    assert re.findall(r'class="m-t">([^<]*)</text>', svg)[:3] == ["1", "no", "L1"]


def test_stands_on_a_deck_look_different(digger):
    stands = [StandMark("a", (0, 3)), StandMark("b", (0, 1), raised=True)]
    svg = top_view(scene(digger, stands=stands))
    assert svg.count('class="m-foot"') == 1
    assert svg.count('class="m-deck"') == 1


def test_every_number_lies_in_the_picture(digger):
    marks = [Mark(str(k), (5 - k / 8, 0.1 * (k % 5), 1.0)) for k in range(60)]
    for svg in (side_view(scene(digger, marks=marks)), top_view(scene(digger, marks=marks))):
        left, top, width, height = map(float, ET.fromstring(svg).get("viewBox").split())
        discs = circles(svg, "m-disc")
        assert len(discs) == 60
        for x, y in discs:
            assert left + 9 <= x <= left + width - 9
            assert top + 9 <= y <= top + height - 9


def test_nearer_parts_are_drawn_over_farther_ones(digger):
    found = shapes(type_at_home(digger, posture="parked"), "side")
    assert [shape.near for shape in found] == sorted(shape.near for shape in found)
    # The right track (y down to -1.5) is nearest to an eye on the right and drawn last.
    assert found[-1].tone == "m-run"


def test_wheels_are_round_from_the_side_only():
    home = type_at_home(sample.hauler(), posture="parked")
    side = [s for s in shapes(home, "side") if s.tone == "m-wheel"]
    top = [s for s in shapes(home, "top") if s.tone == "m-wheel"]
    assert len(side) == len(top) == 4
    # Wheels of the sample are 1.4 m high: circles of radius 0.7, pi * 0.49 = 1.539 m2.
    assert all(s.outline.area == pytest.approx(1.539, rel=0.01) for s in side)
    # From above they are 1.4 x 0.5 m.
    assert all(s.outline.area == pytest.approx(0.7) for s in top)


def test_frame_is_not_taken_for_a_ram(digger):
    # Words are compared whole: "ram" stands in "frame" and "arm" in "harm".
    tones = {s.tone for s in shapes(type_at_home(digger, posture="parked"), "top")}
    assert "m-cyl" not in tones


def test_numbers_follow_the_catalogue(digger):
    rows = numbered_fittings(type_at_home(digger, posture="parked"))
    assert [(r.label, r.joint, r.fitting) for r in rows] == [
        ("1", "boom root", "left"),
        ("2", "boom root", "right"),
        ("3", "boom to arm", "pin"),
        ("4", "arm to bucket", "pin"),
        ("no", "track tension", "left"),
        ("no", "track tension", "right"),
    ]


def test_centrally_fed_joints_are_looked_at(digger):
    fed = digger.joints[1].model_copy(update={"central": True})
    kind = digger.model_copy(update={"joints": (digger.joints[0], fed, *digger.joints[2:])})
    rows = numbered_fittings(type_at_home(kind, posture="parked"))
    assert [(r.label, r.kind) for r in rows][:4] == [
        ("1", "pump"),
        ("2", "pump"),
        ("L1", "look"),
        ("3", "pump"),
    ]


def test_contact_sheet_shows_every_type_twice(digger):
    sheet = contact_sheet([digger, sample.hauler()], posture="parked")
    root = ET.fromstring(sheet)
    assert len(root.findall("{http://www.w3.org/2000/svg}svg")) == 4
    texts = [t.text for t in root.iter("{http://www.w3.org/2000/svg}text")]
    assert "sample digger" in texts
    assert "sample-hauler, 24.0 t" in texts
