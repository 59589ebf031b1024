"""The site map."""

import re
from dataclasses import replace
from xml.etree import ElementTree as ET

import pytest
from shapely.affinity import translate
from shapely.geometry import box

from greaseroute.drawings.map_ground import barrier, ground_names, warnings
from greaseroute.drawings.map_svg import WIDTH_PX, map_svg
from greaseroute.drawings.map_walk import DASHES, TONES
from greaseroute.drawings.svg import View
from greaseroute.site.ground_plan import GroundPlan
from tests.cards import sample

NAMESPACE = "{http://www.w3.org/2000/svg}"


def texts(svg):
    return [t.text for t in ET.fromstring(svg).iter(f"{NAMESPACE}text")]


@pytest.fixture(scope="module")
def svg(yard, plan):
    return map_svg(yard, plan)


def test_same_input_same_bytes(svg):
    again = sample.site()
    assert map_svg(again, sample.plan(again)) == svg


def test_stops_are_numbered_and_named(svg):
    found = texts(svg)
    for number, unit in enumerate(("EX-01", "HT-02", "EX-03", "HT-04", "EX-05"), 1):
        assert found[found.index(unit) - 1] == str(number)
    assert "HT-06" in found  # not visited: its name without a number
    assert "6" not in found


def test_places_say_what_they_are_to_the_walk(svg):
    assert "store: start and finish" in texts(svg)
    assert "wash bay" in texts(svg)


def test_ground_is_named_with_what_one_must_know(svg):
    found = texts(svg)
    for text in ("stockpile", "ramp", "blast", "12:00 to 13:00", "wait 20 s", "mud, slow"):
        assert text in found


def test_legend_tells_every_mark_in_words(svg):
    found = texts(svg)
    assert (
        found[-12:]
        == [
            "walk of Ada",
            "1",
            "stop, in order",
            "machine with work",
            "machine, nothing to do",
            "obstacle: walk round it",
            "no entry (hours where given)",
            "haul road: cross at a crossing only",
            "crossing",
            "slow ground",
            "fence, wall or edge",
            "gate",
            "site boundary",
        ][-12:]
    )


def test_legend_leaves_out_what_the_map_lacks(yard):
    bare = replace(yard, ground=GroundPlan(boundary=box(0, 0, 200, 120)))
    found = texts(map_svg(bare))
    assert found[-1] == "site boundary"
    assert not {"crossing", "gate", "slow ground", "stop, in order"} & set(found)


def test_technicians_differ_in_dashes_and_letters(yard):
    svg = map_svg(yard, sample.plan(yard, technicians=("Ada", "Bo")))
    assert len(set(DASHES)) == len(set(TONES)) == 6
    walks = [
        p
        for p in ET.fromstring(svg).iter(f"{NAMESPACE}path")
        if p.get("stroke-linejoin") == "round"
    ]
    inked = [p for p in walks if p.get("stroke") in TONES]
    assert [p.get("stroke-dasharray") for p in inked] == [None, "9 4"]
    assert {"A1", "A2", "A3", "B1", "B2"} <= set(texts(svg))


def test_everything_lies_on_the_page(svg):
    root = ET.fromstring(svg)
    width, height = (float(v) for v in root.get("viewBox").split()[2:])
    assert width == WIDTH_PX
    for shape in root.iter(f"{NAMESPACE}rect"):
        if shape.get("height") != "100%" and shape.get("rx"):
            assert float(shape.get("x")) >= 0
            assert float(shape.get("x")) + float(shape.get("width")) <= width
            assert 0 <= float(shape.get("y")) <= height


def test_moving_a_site_far_away_changes_nothing_but_rounding(yard, svg):
    def moved(shape):
        return translate(shape, 500_000, 5_000_000)

    ground = GroundPlan(boundary=moved(yard.ground.boundary))
    units = [
        u.model_copy(update={"x_m": u.x_m + 500_000, "y_m": u.y_m + 5_000_000}) for u in yard.units
    ]
    bare = map_svg(replace(yard, ground=GroundPlan(boundary=yard.ground.boundary)))
    far = map_svg(replace(yard, ground=ground, units=tuple(units)))
    assert texts(far) == texts(bare)
    for axis in "xy":
        near = [float(t.get(axis)) for t in ET.fromstring(bare).iter(f"{NAMESPACE}text")]
        there = [float(t.get(axis)) for t in ET.fromstring(far).iter(f"{NAMESPACE}text")]
        assert there == pytest.approx(near, abs=0.2)


def test_gates_are_gaps_in_the_fence(svg):
    # The fence of the sample is 88 m with a gate of 4 m: two rails, the longer on the right.
    rails = re.findall(r'<path d="M([\d.]+) ([\d.]+)L([\d.]+) [\d.]+" stroke-width="1.3"', svg)
    lengths = [float(right) - float(left) for left, _, right in rails[:2]]
    scale = (WIDTH_PX - 52) / 200  # the boundary is 200 m wide
    assert lengths == pytest.approx([(140 - 0.3 - 112) * scale, (200 - 144.3) * scale], abs=0.3)


def test_a_fence_has_strokes_at_even_steps():
    from shapely.geometry import LineString

    drawn = barrier(LineString([(0, 0), (100, 0)]), View(0, 0, 1))
    assert drawn.count("l4.8 4.8") == 11  # every 9 of 100, none at the end


def test_ground_names_of_the_sample(yard):
    names = {n.text: n for n in (*warnings(yard.ground), *ground_names(yard.ground))}
    assert names["stockpile"].inside
    assert not names["yard gate"].inside
    assert names["blast\nno entry\n12:00 to 13:00"].at_m == pytest.approx((27.5, 105))
    assert "north crossing\nwait 20 s" in names
