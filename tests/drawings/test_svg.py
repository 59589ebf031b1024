"""SVG text: escaped, short, well formed."""

from xml.etree import ElementTree as ET

import pytest
from shapely.geometry import Polygon, box

from greaseroute.drawings.svg import (
    View,
    area_data,
    hatch,
    num,
    picture,
    round_length,
    scale_bar,
    tag,
    words,
)


@pytest.mark.parametrize(
    ("value", "text"), [(12.0, "12"), (12.34, "12.3"), (-0.04, "0"), (-1.25, "-1.2"), (100, "100")]
)
def test_numbers_are_short(value, text):
    assert num(value) == text


def test_attributes_and_text_are_escaped():
    assert tag("g", class_="a", aria_label='"<&') == '<g class="a" aria-label="&quot;&lt;&amp;"/>'
    assert words("<b>", (1, 2)) == '<text x="1" y="2">&lt;b&gt;</text>'
    assert tag("g", fill=None) == "<g/>"


def test_a_picture_is_well_formed_and_says_what_it_shows():
    root = ET.fromstring(picture(tag("g"), size=(10, 20), corner=(-1, -2), label="a & b"))
    assert root.get("viewBox") == "-1 -2 10 20"
    assert root.get("aria-label") == "a & b"
    assert root[0].text == "a & b"


def test_north_is_up():
    view = View(left_m=10, top_m=50, scale=2, origin=(3, 4))
    assert view(10, 50) == (3, 4)
    assert view(15, 40) == (13, 24)  # 5 m east is 10 right; 10 m south is 20 down


def test_holes_are_drawn():
    ring = Polygon(box(0, 0, 10, 10).exterior, [box(4, 4, 6, 6).exterior])
    data = area_data(ring, View(0, 10, 1))
    assert data.count("M") == data.count("Z") == 2


def test_hatching_is_as_long_as_area_over_gap():
    # Lines 0.1 apart across 10 x 4: their length times the gap is the area, up to one line.
    bars = hatch(box(0, 0, 10, 4), gap_m=0.1, angle_deg=30)
    assert sum(bar.length for bar in bars) * 0.1 == pytest.approx(40, rel=0.02)


@pytest.mark.parametrize(
    ("longest", "length"), [(0.7, 0.5), (1, 1), (1.99, 1), (5, 5), (49, 20), (100, 100), (990, 500)]
)
def test_a_scale_bar_has_a_round_length(longest, length):
    assert round_length(longest) == pytest.approx(length)


def test_a_scale_bar_is_as_long_as_it_says():
    # 90 of the picture at 7 to a metre are 12.86 m; the bar is 10 m = 70 long and says so.
    bar = scale_bar(7.0, at=(5, 50), longest=90, class_="x")
    assert "M5 46V50H75V46" in bar
    assert ">10 m</text>" in bar
