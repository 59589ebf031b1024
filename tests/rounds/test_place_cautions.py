"""Cautions of legs and places, check-ins: each comes and goes with what alone gives rise to it."""

from dataclasses import replace
from datetime import datetime, time, timedelta
from itertools import pairwise

import pytest
from shapely.geometry import LineString, box

from greaseroute.plan.round import StandVisit, Stop, TechnicianPlan
from greaseroute.rounds.check_ins import check_ins
from greaseroute.rounds.place_cautions import NEAR_M, with_cautions
from greaseroute.site.crew import WorkingRules
from greaseroute.site.ground_plan import Area, Barrier, GroundPlan, Hours
from greaseroute.site.people import Person
from tests.cards import sample

EMPTY = GroundPlan(boundary=box(-500, -500, 500, 500))
FAR, NORTH = (300.0, 300.0), (10.0, 55.0)  # longitude, latitude


def at(clock: str) -> str:
    return f"2026-10-13T{clock}:00+02:00"


def stop(x: float, y: float, *, came: tuple, times: tuple = ("05:10", "05:30"), **stand) -> Stop:
    place = StandVisit(x_m=x, y_m=y, posture="parked", **stand)
    arrive, leave = map(at, times)
    return Stop(unit=f"U{x:.0f}", arrive=arrive, leave=leave, path=(came, (x, y)),
                inside=((x, y),), stands=(place,))  # fmt: skip


def walk(*stops: Stop, start: str = "05:00", finish: str = "05:40", **more) -> TechnicianPlan:
    """A walk over the stops and back to (0, 0)."""
    path = [stops[0].path[0], *(s.path[-1] for s in stops), (0.0, 0.0)]
    return TechnicianPlan(name="Ada", walk_m=0, walk_s=0, work_s=0, start=at(start),
                          finish=at(finish), path=tuple(path), stops=stops, **more)  # fmt: skip


def one_stop(**stand) -> TechnicianPlan:
    return walk(stop(40.0, 0.0, came=(0.0, 0.0), **stand))


def yard(lonlat=None, **ground):
    return replace(sample.site(lonlat=lonlat), ground=replace(EMPTY, **ground), people=())


def keys(cautions) -> set[str]:
    return {c.key for c in cautions}


def told(site, technician=None):
    """(keys of the leg, of the place, of the way home) of the last stop of a walk."""
    got = with_cautions(technician or one_stop(), site)
    last = got.stops[-1]
    return keys(last.way_cautions), keys(last.place_cautions), keys(got.home_cautions)


THINGS = {
    "FACE": lambda y: {"barriers": (Barrier("north face", LineString([(35, y), (45, y)]),
                                            kind="quarry face"),)},
    "RAIL": lambda y: {"barriers": (Barrier("siding", LineString([(35, y), (45, y)]),
                                            kind="rail"),)},
    "WATER": lambda y: {"obstacles": (Area("pond", "obstacle", box(35, y, 45, y + 9),
                                           kind="pond"),)},
    "TIP": lambda y: {"obstacles": (Area("heap", "obstacle", box(35, y, 45, y + 9),
                                         kind="stockpile"),)},
    "ROAD": lambda y: {"haul_roads": (Area("ramp", "haul_road", box(35, y, 45, y + 9)),)},
    "ZONE": lambda y: {"no_go": (Area("blast", "no_go", box(35, y, 45, y + 9)),)},
}  # fmt: skip


@pytest.mark.parametrize("key", THINGS)
def test_a_thing_is_told_of_on_the_leg_and_at_the_place_as_far_as_its_distance(key):
    near, far = (THINGS[key](NEAR_M[key] + off) for off in (-0.1, 0.1))
    assert key in told(yard(**near))[0] & told(yard(**near))[1]
    assert not {key} & set.union(*told(yard(**far)))


def test_a_thing_beside_the_way_alone_is_told_of_on_the_leg_alone():
    pond = Area("pond", "obstacle", box(15, 2, 20, 9), kind="pond")
    way, place, home = told(yard(obstacles=(pond,)))
    assert ("WATER" in way, "WATER" in place, "WATER" in home) == (True, False, True)


def test_below_the_edge_of_a_quay_there_is_water():
    line = LineString([(35, 3), (45, 3)])
    told_of = {
        kind: told(yard(barriers=(Barrier("edge", line, kind=kind),)))[1] & {"WATER", "FACE"}
        for kind in ("quay edge", "bench edge")
    }
    assert told_of == {"quay edge": {"WATER"}, "bench edge": {"FACE"}}


def test_where_it_is_and_how_far_is_said():
    pond = Area("pond", "obstacle", box(35, 3, 45, 9), kind="pond")
    got = with_cautions(one_stop(), yard(obstacles=(pond,))).stops[0]
    assert "pond, 3.0 m from where you stand" in {c.where for c in got.place_cautions}
    assert "pond, 3.0 m from the way" in {c.where for c in got.way_cautions}


def test_a_road_that_is_crossed_is_gone_over():
    road = Area("ramp", "haul_road", box(15, -50, 20, 50))
    got = with_cautions(one_stop(), yard(haul_roads=(road,))).stops[0]
    assert [c.where for c in got.way_cautions if c.key == "ROAD"] == ["the way goes over ramp"]


@pytest.mark.parametrize(("closed", "there"), [((5, 6), True), ((6, 7), False)])
def test_a_zone_is_told_of_while_it_is_closed(closed, there):
    hours = (Hours(*(time(h) for h in closed)),)
    zone = Area("blast", "no_go", box(35, 3, 45, 9), hours=hours)
    assert ("ZONE" in told(yard(no_go=(zone,)))[1]) == there


def test_dark_follows_date_and_place():
    """55 N 10 E: on 13 October the sun rises at 07:43 summer time, on 13 June at 04:31."""
    site = yard(NORTH)
    assert all("DARK" in each for each in told(site))
    june = walk(*(s.model_copy(update={"arrive": s.arrive.replace("-10-", "-06-"),
                                       "leave": s.leave.replace("-10-", "-06-")})
                  for s in one_stop().stops))  # fmt: skip
    june = june.model_copy(update={"start": june.start.replace("-10-", "-06-"),
                                   "finish": june.finish.replace("-10-", "-06-")})  # fmt: skip
    assert not any("DARK" in each for each in told(site, june))


def test_a_site_without_a_place_says_so_once():
    got = with_cautions(
        walk(stop(40.0, 0.0, came=(0.0, 0.0)), stop(80.0, 0.0, came=(40.0, 0.0))), yard()
    )
    dark = [c.where for s in got.stops for c in (*s.way_cautions, *s.place_cautions)
            if c.key == "DARK"]  # fmt: skip
    assert len(dark) == 1
    assert "does not say where the site lies" in dark[0]


def test_height_is_told_where_the_feet_are_off_the_ground():
    low, high = (one_stop(deck="left deck", height_m=m) for m in (0.3, 1.9))
    assert "HEIGHT" not in told(yard(), low)[1]
    got = with_cautions(high, yard()).stops[0].place_cautions
    assert [c.where for c in got if c.key == "HEIGHT"] == ["left deck, 1.9 m above the ground"]


def test_a_machine_that_is_moved_is_not_greased_meanwhile():
    assert "NOMOVE" in told(yard(), one_stop(event="posture"))[1]
    assert "NOMOVE" not in told(yard(), one_stop())[1]


def test_clothes_before_the_first_leg_wipes_at_the_last_stop():
    both = walk(stop(40.0, 0.0, came=(0.0, 0.0)), stop(80.0, 0.0, came=(40.0, 0.0)))
    got = with_cautions(both, yard())
    assert ["VIS" in keys(s.way_cautions) for s in got.stops] == [True, False]
    assert ["SPILL" in keys(s.place_cautions) for s in got.stops] == [False, True]


# --- Lone work ---

LONG = walk(
    stop(40.0, 0.0, came=(0.0, 0.0), times=("05:10", "05:40")),
    stop(80.0, 0.0, came=(40.0, 0.0), times=("05:45", "07:30")),
    start="05:00", finish="07:40",
)  # fmt: skip


def rules(**more):
    return replace(yard(), rules=WorkingRules(**more))


def clocks(site, technician=LONG, crew=(LONG,)):
    return [(c.at[11:16], c.tell, c.stop) for c in check_ins(technician, crew, site)]


def test_words_on_coming_or_leaving_and_inside_long_work():
    """Within an hour of 05:00 the last free hands are at 05:45; then one hour on, at work."""
    assert clocks(rules()) == [("05:45", "", 1), ("06:45", "", 1), ("07:40", "", None)]


@pytest.mark.parametrize("gap_min", [5, 17, 30, 45, 60, 120, 480])
def test_no_gap_is_longer_than_the_rule(gap_min):
    found = check_ins(LONG, (LONG,), rules(check_in_min=gap_min))
    moments = [datetime.fromisoformat(LONG.start), *(datetime.fromisoformat(c.at) for c in found)]
    gaps = [b - a for a, b in pairwise(moments)]
    assert max(gaps) <= timedelta(minutes=gap_min)
    assert moments[-1] == datetime.fromisoformat(LONG.finish)


def test_a_shorter_gap_asks_for_more_words():
    assert len(clocks(rules(check_in_min=30))) > len(clocks(rules(check_in_min=60)))


def test_told_is_who_is_at_hand_else_who_else_walks_else_whom_the_rule_names():
    night = Person(name="Ivar", on_site_from="04:00", on_site_to="06:00")
    manned = replace(rules(), people=(night,))
    assert [who for _, who, _ in clocks(manned)] == ["Ivar", "", ""]
    other = LONG.model_copy(update={"name": "Bo", "finish": at("07:00")})
    assert [who for _, who, _ in clocks(manned, crew=(LONG, other))] == ["Ivar", "Bo", ""]
    named = replace(manned, rules=WorkingRules(check_in_with="gate, channel 4"))
    assert {who for _, who, _ in clocks(named)} == {"gate, channel 4"}


def test_check_ins_stand_at_their_stop_and_at_the_end_of_the_walk():
    site = rules()
    got = with_cautions(LONG, site, check_ins=check_ins(LONG, (LONG,), site))
    at_stops = [[c.where for c in s.place_cautions if c.key == "ALONE"] for s in got.stops]
    assert [len(each) for each in at_stops] == [0, 2]
    assert "05:45" in at_stops[1][0]
    assert "06:45" in at_stops[1][1]
    assert [c.where[:13] for c in got.home_cautions if c.key == "ALONE"] == ["back at 07:40"]
