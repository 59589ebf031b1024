"""Machines that leave while the round is under way: their place and way out are traffic then."""

from dataclasses import replace
from datetime import datetime, timedelta

import pytest
from shapely.geometry import LineString, Point, Polygon, box

from greaseroute.audit.audit import audit_round
from greaseroute.audit.basis import Asked
from greaseroute.cards.leaving import leaving, stop_notes
from greaseroute.drawings.map_svg import map_svg
from greaseroute.plan.round import RoundPlan
from greaseroute.rounds.planner import plan_round
from greaseroute.rounds.request import Effort, RoundRequest
from greaseroute.site.ground_plan import Area, Place
from greaseroute.site.morning import morning_of
from greaseroute.texts.language import ENGLISH
from greaseroute.walk.site_ground import site_ground
from greaseroute.walk.ways_out import ways_out
from greaseroute.walk.yard import stances_now
from tests.rounds.yards import AT, technician, unit, yard
from tests.yard_checks import findings

DUMPER = "articulated-dumper-30t"
ROAD_Y, LEAVES_XY = 100.0, (80.0, 60.0)
QUICK = Effort(1, prove=False)


def site_of(parked_to=None, **changes):
    """A dumper between two others, a haul road north of all three: it drives straight north."""
    units = (
        unit(0, DUMPER, 40, 80),
        unit(1, DUMPER, *LEAVES_XY, parked_to=parked_to),
        unit(2, DUMPER, 120, 80),
    )
    plain = yard(units, width=160.0, height=130.0, **changes)
    road = Area("haul road", "haul_road", box(0, ROAD_Y, 160, 110))
    return replace(plain, ground=replace(plain.ground, haul_roads=(road,)))


def work_at(site):
    return tuple((unit, site.types[DUMPER].joints[0].name) for unit in ("U-0", "U-2"))


def planned(site):
    return plan_round(site, RoundRequest(AT, work_at(site)), effort=QUICK)


def audited(site, plan):
    return audit_round(site, plan, asked=Asked(work=frozenset(work_at(site)))).findings


def between(plan):
    """The leg from the first machine to the second."""
    _, second = plan.technicians[0].stops
    return LineString(second.path)


@pytest.fixture(scope="module")
def stays():
    return planned(site_of())


@pytest.fixture(scope="module")
def leaves():
    return planned(site_of(AT + timedelta(minutes=1)))


def test_it_drives_straight_to_the_road_and_takes_its_width_and_half_a_metre_on_each_side():
    site = site_of(AT + timedelta(minutes=1))
    now = stances_now(site)
    (way,) = ways_out(site, now, morning_of(site, AT))
    west, south, east, north = way.ground.bounds
    body = now["U-1"][0].outline.bounds
    assert north == pytest.approx(ROAD_Y, abs=0.002)
    assert (west, south, east) == pytest.approx(
        (body[0] - 0.5, body[1] - 0.5, body[2] + 0.5), abs=0.05
    )
    assert way.leaves == AT + timedelta(minutes=1)


@pytest.mark.parametrize(("gap_m", "keeps_m"), [(40.0, 3.0), (4.5, 1.0)])
def test_it_goes_round_the_people_at_another_machine_where_there_is_room(gap_m, keeps_m):
    """Straight north it passes another dumper at a metre, to a gap in a wall behind that. In a
    wide gap it keeps a closed zone's distance (2 m) and the metre of one who greases there; a
    narrow one leaves it the straight way alone.
    """
    site = site_of(AT + timedelta(minutes=1))
    east_m = stances_now(site)["U-0"][0].outline.bounds[2] - 40.0  # from its place to its side
    beside = unit(3, DUMPER, LEAVES_XY[0] - 2 * east_m - 0.5 - 1.0, 80)
    gap = (beside.x_m + east_m, beside.x_m + east_m + gap_m)
    walls = (Area("west wall", "obstacle", box(0, 88, gap[0], 98)),
             Area("east wall", "obstacle", box(gap[1], 88, 160, 98)))  # fmt: skip
    ground = replace(site.ground, obstacles=walls)
    site = replace(site, units=(*site.units, beside), ground=ground)
    now = stances_now(site)
    (way,) = ways_out(site, now, morning_of(site, AT))
    assert way.ground.distance(box(0, ROAD_Y, 160, 110)) < 0.01
    assert way.ground.distance(now["U-3"][0].outline) == pytest.approx(keeps_m, abs=0.02)


def test_after_it_left_one_walks_round_its_way_out_and_not_across(stays, leaves):
    """The rule alone: the straight leg of before cuts the way out; the new one goes round its
    south end, at the distance of a closed zone, and is as long as the shortest line round it.
    """
    (told,) = leaves.leaving
    assert told.unit == "U-1"
    assert datetime.fromisoformat(told.leaves) == AT + timedelta(minutes=1)
    ground = Polygon(told.ground)
    assert between(stays).intersects(ground)
    keep_m = site_of().rules.no_entry_clearance_m
    assert between(leaves).distance(ground) == pytest.approx(keep_m, abs=0.01)
    leg = between(leaves)
    site = site_of()
    grown = ground.buffer(keep_m - site.rules.clearance_m, join_style="mitre", mitre_limit=1.001)
    shut = replace(site.ground, no_go=(Area("traffic", "obstacle", grown),))
    free = site_ground(shut, stances_now(site), clearance_m=site.rules.clearance_m)
    assert leg.length == pytest.approx(free.path(leg.coords[0], leg.coords[-1]).length, abs=0.001)
    assert leg.length > between(stays).length + 5.0


def test_sites_where_nobody_leaves_in_time_say_nothing_of_it(stays):
    assert stays.leaving == ()
    assert "leaving" not in stays.model_dump_json()
    late = planned(site_of(AT + timedelta(hours=9)))
    assert late.model_dump_json() == stays.model_dump_json()


def test_before_it_left_it_is_no_traffic_and_is_told(stays):
    later = planned(site_of(AT + timedelta(hours=3)))
    assert [each.unit for each in later.leaving] == ["U-1"]
    assert later.model_copy(update={"leaving": ()}) == stays  # proved to be the shortest as well


def test_the_plan_is_good_by_the_audit_and_by_the_safety_officer(leaves):
    site = site_of(AT + timedelta(minutes=1))
    assert [f.line() for f in audited(site, leaves)] == []
    assert findings(site, leaves) == []


def test_a_leg_across_the_way_out_is_found(stays, leaves):
    """The plan of a site where it stays, handed out where it leaves: both checks say so."""
    site = site_of(AT + timedelta(minutes=1))
    wrong = stays.model_copy(update={"leaving": leaves.leaving})
    assert {f.promise for f in audited(site, wrong)} == {"open hours"}
    assert any("leaving machine" in text for text in findings(site, wrong))
    assert any(f.promise == "traffic" for f in audited(site, stays))


def test_what_is_told_of_it_is_audited(leaves):
    site = site_of(AT + timedelta(minutes=1))
    (told,) = leaves.leaving
    short = tuple((x, min(y, ROAD_Y - 5)) for x, y in told.ground)
    for change, words in (
        ({"leaves": (AT + timedelta(minutes=9)).isoformat()}, "another hour"),
        ({"ground": short}, "does not lead there"),
        ({"ground": tuple((x + 2, y) for x, y in told.ground)}, "stands beyond the ground"),
        ({"unit": "U-0"}, "said to leave and does not"),
    ):
        plan = leaves.model_copy(update={"leaving": (told.model_copy(update=change),)})
        lines = [f.line() for f in audited(site, plan)]
        assert any(words in line for line in lines), (words, lines)


def test_the_way_out_ends_before_a_place_where_somebody_sets_off():
    """The start lies on its way: nobody drives over it, and the round can still be walked."""
    site = site_of(AT + timedelta(minutes=1), technicians=(technician(start="hut", finish="hut"),))
    hut = Place("hut", "start", Point(80, 92))
    site = replace(site, ground=replace(site.ground, places=(*site.ground.places, hut)))
    plan = planned(site)
    (told,) = plan.leaving
    assert Polygon(told.ground).distance(hut.point) >= site.rules.no_entry_clearance_m
    assert plan.left == ()
    assert [f.line() for f in audited(site, plan)] == []


def test_those_that_leave_are_told_by_the_hour(leaves):
    """One sentence, the first to go at its head, those of one hour together."""
    (told,) = leaves.leaving
    six = told.model_copy(update={"leaves": "2031-03-04T06:00:00+00:00"})
    plan = leaves.model_copy(
        update={"leaving": (six, six.model_copy(update={"unit": "U-7"}), told)}
    )
    assert leaving(plan, ENGLISH) == (
        "Traffic: U-1 gone from 04:01; U-1 and U-7 gone from 06:00. From then on keep off their "
        "place and the way out of it."
    )
    assert leaving(plan.model_copy(update={"leaving": ()}), ENGLISH) == ""


def test_a_plan_is_read_back_as_it_was_written(leaves):
    assert RoundPlan.model_validate_json(leaves.model_dump_json()) == leaves


def test_its_stop_and_the_map_say_so(stays, leaves):
    """When it goes stands at its own stop, before its notes; the way out is drawn and explained."""
    site = site_of(AT + timedelta(minutes=1))
    noted = site.units[1].model_copy(update={"notes": "low tyre"})
    clock = ENGLISH.clock(leaves.leaving[0].leaves)
    assert stop_notes(leaves, noted, ENGLISH) == f"U-1 gone from {clock}; low tyre"
    assert stop_notes(leaves, site.units[0], ENGLISH) == ""
    told = "way out: traffic when it leaves"
    with_way, without = map_svg(site, leaves), map_svg(site, stays)
    assert (with_way.count('class="gm-out"'), with_way.count(told)) == (2, 1)  # one in the legend
    assert 'class="gm-out"' not in without
    assert told not in without
