"""The file of what is done so far: mistakes with their lines, positions as in the site."""

import json
from dataclasses import replace
from datetime import datetime, timedelta
from pathlib import Path

import numpy as np
import pytest
from jsonschema import Draft202012Validator

from greaseroute.cli.schema import done_so_far_schema
from greaseroute.replan.so_far import DoneSoFar, site_now
from greaseroute.replan.so_far_file import plane_of, read_done_so_far, read_earlier
from greaseroute.rounds.planner import plan_round
from greaseroute.rounds.request import RoundRequest
from greaseroute.site.folder import read_site
from greaseroute.site.geodesy import local_plane
from greaseroute.site.morning import morning_of
from tests.rounds.yards import AT, random_yard, unit, yard

DEMOS = Path(__file__).parents[2] / "sites_demo"
LOADER = "wheel-loader-20t"


@pytest.fixture(scope="module")
def site():
    return yard([unit(1, LOADER, 30, 30), unit(2, LOADER, 80, 60), unit(3, LOADER, 120, 30)])


def read(site, **told):
    """The record and its faults, from a text with one field on a line."""
    text = json.dumps({"at": "2031-03-04T04:20", **told}, indent=1)
    return read_done_so_far(text, "now.json", site, morning=morning_of(site, AT))


def faults(site, **told):
    so_far, found = read(site, **told)
    assert so_far is None
    return [str(f) for f in found]


def test_what_a_file_says_is_what_the_planner_is_told(site):
    so_far, found = read(
        site,
        places={"Ada": [40, 20.5]},
        done_units=["U-3"],
        moved=[{"unit": "U-2", "x_m": 90, "y_m": 60, "heading_deg": 90}],
        gone=["U-1"],
        left_strokes={"lever": 12},
        keep="free",
        change_cost_s=30,
    )
    assert found == []
    assert so_far == DoneSoFar(
        at=AT + timedelta(minutes=20),
        places={"Ada": (40.0, 20.5)},
        done_units=("U-3",),
        moved=({"unit": "U-2", "x_m": 90, "y_m": 60, "heading_deg": 90},),
        gone=("U-1",),
        left_strokes={"lever": 12},
        keep="free",
        change_cost_s=30,
    )


def test_a_moment_without_an_offset_is_on_the_sites_clock(site):
    there = replace(site, time_zone="Europe/Berlin")
    text = '{"at": "2031-03-04T04:20"}'
    begun = morning_of(there, datetime(2031, 3, 4, 4, 0))
    so_far, found = read_done_so_far(text, "now.json", there, morning=begun)
    assert found == []
    assert so_far.at.isoformat() == "2031-03-04T04:20:00+01:00"


def test_broken_json_is_told_with_its_line(site):
    _, found = read_done_so_far('{\n"at": \n}', "now.json", site, morning=morning_of(site, AT))
    assert [str(f) for f in found] == [
        "now.json:3: JSON: syntax = '}'; allowed: valid JSON; mend it: expecting value at column 1"
    ]
    _, found = read_done_so_far("[]", "now.json", site, morning=morning_of(site, AT))
    assert [str(f) for f in found] == [
        "now.json:1: JSON: - = '[]'; allowed: an object in braces; see the guide"
    ]


def test_mistakes_of_form_are_told_together(site):
    told = faults(site, gon=["U-1"], keep="same", moved=[{"unit": "U-1", "x_m": 5}])
    assert sorted(told) == [
        "now.json:3: round so far: gon = \"['U-1']\"; allowed: the fields at, done, done_units, "
        "done_fittings, blocked, gone, left_strokes, keep, change_cost_s, places, moved; did you "
        "mean 'gone'?",
        "now.json:6: round so far: keep = 'same'; allowed: one of 'order' or 'free'; correct it",
        "now.json:8: moved 1: - = 'unit, x_m'; allowed: x_m and y_m, or neither where it "
        "only turned or moved its implements; correct it",
    ]


@pytest.mark.parametrize(
    ("told", "text"),
    [
        (
            {"places": {"Ida": [1, 2]}},
            "now.json:4: places 'Ida': - = 'Ida'; allowed: one of 'Ada'; did you mean 'Ada'?",
        ),
        (
            {"places": {"Ada": [1, 200]}},
            "now.json:4: places 'Ada': - = '[1, 200]'; allowed: inside the boundary; "
            "it lies 80.0 m outside: correct it",
        ),
        (
            {"done_units": ["U-9"]},
            "now.json:4: done_units 1: - = 'U-9'; allowed: one of 'U-1', 'U-2', 'U-3'; "
            "did you mean 'U-3'?",
        ),
        (
            {"gone": ["U-1", "X"]},
            "now.json:5: gone 2: - = 'X'; allowed: one of 'U-1', 'U-2', 'U-3'; correct it",
        ),
        (
            {"left_strokes": {"lever": -2}},
            "now.json:4: left_strokes 'lever': - = '-2'; allowed: a whole number from 0 up; "
            "correct it",
        ),
        (
            {"left_strokes": {"levr": 2}},
            "now.json:4: left_strokes 'levr': - = 'levr'; allowed: one of 'lever', 'second'; "
            "did you mean 'lever'?",
        ),
        (
            {"moved": [{"unit": "U-2", "x_m": 90, "y_m": 60, "posture": "upside"}]},
            "now.json:8: moved 1: posture = 'upside'; allowed: one of 'parked', 'greasing', "
            "'raised'; "
            "correct it",
        ),
        (
            {"gone": ["U-2"], "moved": [{"unit": "U-2", "x_m": 90, "y_m": 60}]},
            "now.json:8: moved 1: unit = 'U-2'; allowed: each unit once, moved or gone; "
            "take one of the two out",
        ),
    ],
)
def test_names_and_values_that_cannot_be(site, told, text):
    assert faults(site, **told) == [text]


def test_joints_and_fittings_that_are_not_there(site):
    told = faults(
        site,
        done=[["U-1", "boom rot"]],
        blocked=[
            {"unit": "U-1", "joint": "nothing"},
            {"unit": "U-2", "joint": "bucket pins", "fitting": "x"},
        ],
    )
    assert [line.partition(";")[0] for line in told] == [
        "now.json:6: done 1: joint = 'boom rot'",
        "now.json:12: blocked 1: joint = 'nothing'",
        "now.json:17: blocked 2: fitting = 'x'",
    ]


@pytest.mark.parametrize(
    ("at", "fine"),
    [("03:59", False), ("04:00", True), ("10:59", True), ("11:00", False)],
)
def test_the_moment_lies_in_the_morning(site, at, fine):
    so_far, found = read(site, at=f"2031-03-04T{at}")
    assert (so_far is not None) == fine
    if not fine:
        assert [str(f) for f in found] == [
            f"now.json:2: round so far: at = '2031-03-04T{at}'; allowed: from 2031-03-04 04:00 to "
            "before 2031-03-04 11:00; correct it, or tell the round with --at"
        ]


def test_a_unit_moved_onto_another_or_off_the_site_is_told(site):
    (line,) = faults(site, moved=[{"unit": "U-1", "x_m": 81, "y_m": 60}])
    assert line.startswith("now.json:4: unit U-1: position = 'shares ")
    assert "with unit U-2'; allowed: clear of it" in line
    (line,) = faults(site, moved=[{"unit": "U-1", "x_m": 300, "y_m": 60}])
    assert line == (
        "now.json:4: unit U-1: x_m, y_m = '300, 60'; allowed: inside the boundary; "
        "it lies 140.0 m outside: correct it"
    )


def test_a_unit_may_have_moved_its_implements_only(site):
    so_far, found = read(site, moved=[{"unit": "U-2", "posture": "greasing"}])
    assert found == []
    now = {u.unit: u for u in site_now(site, so_far, earlier=None).units}["U-2"]
    assert (now.posture, now.x_m, now.y_m) == ("greasing", 80, 60)


def test_a_unit_may_move_to_where_one_that_left_stood(site):
    so_far, found = read(site, gone=["U-2"], moved=[{"unit": "U-1", "x_m": 81, "y_m": 60}])
    assert (so_far is not None, found) == (True, [])


def test_longitude_and_latitude_as_in_the_sites_files():
    harbour = read_site(DEMOS / "harbour_skarnholm")
    begun = morning_of(harbour, harbour.planned_for)
    first = harbour.units[0]
    # The first row of its fleet.csv stands at 6.2029294, 55.3014700.
    text = json.dumps(
        {
            "at": begun.zero.isoformat(),
            "moved": [{"unit": harbour.units[1].unit, "lon": 6.2029294, "lat": 55.30147}],
            "places": {harbour.technicians[0].name: [6.2029294, 55.30147]},
            "gone": [first.unit],
        }
    )
    so_far, found = read_done_so_far(text, "now.json", harbour, morning=begun)
    assert found == []
    assert (so_far.moved[0].x_m, so_far.moved[0].y_m) == pytest.approx((first.x_m, first.y_m))
    assert so_far.places[harbour.technicians[0].name] == pytest.approx((first.x_m, first.y_m))


def test_metres_on_a_site_in_degrees_are_told():
    harbour = read_site(DEMOS / "harbour_skarnholm")
    begun = morning_of(harbour, harbour.planned_for)
    text = json.dumps(
        {
            "at": begun.zero.isoformat(),
            "moved": [{"unit": "RL-1", "x_m": 4, "lat": 55.3}],
        },
        indent=1,
    )
    so_far, found = read_done_so_far(text, "now.json", harbour, morning=begun)
    assert so_far is None
    told = {(f.line, f.record, f.field): (f.value, f.allowed) for f in found}
    assert told == {
        (6, "moved 1", "x_m"): ("4", "the fields unit, heading_deg, posture, slew_deg, lon, lat"),
    }


def test_positions_that_are_not_on_the_globe_are_told():
    harbour = read_site(DEMOS / "harbour_skarnholm")
    begun = morning_of(harbour, harbour.planned_for)
    name = harbour.technicians[0].name
    text = json.dumps({"at": begun.zero.isoformat(), "places": {name: [55.3, 96.2]}})
    _, found = read_done_so_far(text, "now.json", harbour, morning=begun)
    assert [str(f) for f in found] == [
        f"now.json:1: places {name!r}: lon, lat = '55.3, 96.2'; allowed: longitude -180 to 180, "
        "latitude -90 to 90; they look swapped: exchange them"
    ]


def test_a_grid_is_brought_into_the_very_plane_of_the_site(site):
    # UTM zone 32 near its central meridian, as in tests/site/test_geodesy.py.
    anchor = (500_123.4, 5_800_321.0)
    plane = local_plane("EPSG:32632", anchor)
    there = replace(site, coordinates="EPSG:32632", origin_lonlat=plane.origin_lonlat)
    spots = np.array([[500_000.0, 5_800_000.0], [501_000.0, 5_801_000.0]])
    assert plane_of(there).to_plane(spots) == pytest.approx(plane.to_plane(spots), abs=1e-6)


def test_the_example_of_the_quarry_is_good_and_fits_its_schema():
    quarry = read_site(DEMOS / "quarry_ruttersby")
    text = (DEMOS / "quarry_ruttersby" / "done_so_far.json").read_text(encoding="utf-8")
    begun = morning_of(quarry, quarry.planned_for)
    so_far, found = read_done_so_far(text, "done_so_far.json", quarry, morning=begun)
    assert found == []
    assert len(so_far.done_units) == 22
    schema = done_so_far_schema(lonlat=False)
    Draft202012Validator.check_schema(schema)
    Draft202012Validator(schema).validate(json.loads(text))


def test_a_plan_of_another_site_is_told(site):
    plan = plan_round(
        random_yard(np.random.default_rng(1), 1), RoundRequest(AT, technicians=("Ada",))
    )
    text = plan.model_dump_json(indent=1)
    assert read_earlier(text, "round.json", site) == (plan, [])
    _, found = read_earlier(text, "round.json", replace(site, name="Pit"))
    assert [str(f) for f in found] == [
        "round.json:3: plan: site = 'Yard'; allowed: a plan for 'Pit'; "
        "name the round.json of this site"
    ]
    _, found = read_earlier(text.replace('"seed": 1', '"seed": "x"'), "round.json", site)
    assert [str(f) for f in found] == [
        "round.json:5: plan: seed = 'x'; allowed: a whole number; correct it"
    ]
