"""Errors planted one by one in a good plan: each is found, by the promise that it breaks.

A planted error is a small change of the plan as it is written (or of the raw site under it). The
plan itself has no finding, so what the audit says afterwards is about the error.
"""

import copy
import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from datetime import datetime, time, timedelta

import pytest
from shapely.geometry import LineString, box

from greaseroute.audit.audit import audit_round
from greaseroute.audit.basis import Basis
from greaseroute.audit.case import Case
from greaseroute.audit.finding import Finding
from greaseroute.plan.round import RoundPlan
from greaseroute.site.ground_plan import Area, Barrier, Hours
from tests.audit.full_yard import full_plan, full_yard

Written = dict  # a plan as round.json has it


@pytest.fixture(scope="module")
def good() -> RoundPlan:
    """The plan that errors are planted in."""
    return full_plan()


def test_the_plan_itself_is_good(good):
    report = audit_round(full_yard(), good)
    assert [f.line() for f in report.findings] == []
    assert report.looked_at["fittings"] > 50


def test_the_plan_holds_one_of_everything(good):
    stops = [s for t in good.technicians for s in t.stops]
    stands = [v for s in stops for v in s.stands]
    assert {v.event for v in stands} == {"", "posture", "turn"}
    assert any(s.reload and s.load for s in stops)
    assert any(v.deck for v in stands)
    assert any(v.again for v in stands)
    assert any(v.looks for v in stands)
    assert any(f.put_in for v in stands for f in v.fittings)


# ------------------------------------------------------------------ finding a spot to spoil


def _stops(plan: Written) -> Iterator[tuple[Written, Written]]:
    for technician in plan["technicians"]:
        for stop in technician["stops"]:
            yield technician, stop


def _stands(plan: Written) -> Iterator[tuple[Written, Written, Written]]:
    for technician, stop in _stops(plan):
        for stand in stop["stands"]:
            yield technician, stop, stand


def _fittings(plan: Written) -> Iterator[tuple[Written, Written, Written, Written]]:
    for technician, stop, stand in _stands(plan):
        for fitting in stand["fittings"]:
            yield technician, stop, stand, fitting


def _unit_stop(plan: Written, which: Callable[[Written], object] = bool) -> Written:
    return next(s for _, s in _stops(plan) if not s["reload"] and which(s))


def _stand(plan: Written, which: Callable[[Written], object]) -> Written:
    return next(v for _, _, v in _stands(plan) if which(v))


def _later(text: str, seconds: float) -> str:
    moment = datetime.fromisoformat(text) + timedelta(seconds=seconds)
    return moment.isoformat(timespec="milliseconds")


def _shift_rest(plan: Written, technician: Written, *, after: Written, seconds: float) -> None:
    """Everything after a stop so many seconds later."""
    begun = False
    for stop in technician["stops"]:
        if begun:
            stop["arrive"] = _later(stop["arrive"], seconds)
            stop["leave"] = _later(stop["leave"], seconds)
        begun = begun or stop is after
    technician["finish"] = _later(technician["finish"], seconds)


# ------------------------------------------------------------------ the errors


def arrives_too_early(plan):
    _, stop = list(_stops(plan))[1]
    stop["arrive"] = _later(stop["arrive"], -20)


def idles_on_the_way(plan):
    technician = plan["technicians"][0]
    stop = technician["stops"][1]
    for key in ("arrive", "leave"):
        stop[key] = _later(stop[key], 90)
    _shift_rest(plan, technician, after=stop, seconds=90)
    technician["wait_s"] += 90


def check_in_forgotten(plan):
    technician = plan["technicians"][0]
    technician["finish"] = _later(technician["start"], 3600 + 1)
    technician["check_ins"] = []


def told_to_nobody(plan):
    plan["technicians"][0]["check_ins"][-1]["tell"] = ""


def told_to_a_stranger(plan):
    plan["technicians"][0]["check_ins"][-1]["tell"] = "a stranger"


def road_not_told(plan):
    stop = next(s for _, s in _stops(plan) if any(c["key"] == "ROAD" for c in s["way_cautions"]))
    stop["way_cautions"] = [c for c in stop["way_cautions"] if c["key"] != "ROAD"]


def height_not_told(plan):
    for _, stop in _stops(plan):
        stop["place_cautions"] = [c for c in stop["place_cautions"] if c["key"] != "HEIGHT"]


def leaves_too_early(plan):
    technician = plan["technicians"][0]
    stop = technician["stops"][0]
    stop["leave"] = _later(stop["leave"], -60)


def fitting_takes_no_time(plan):
    *_, fitting = next(_fittings(plan))
    fitting["work_s"] = 0.0


def steps_take_no_time(plan):
    _stand(plan, lambda v: v["event"] == "turn")["before_s"] = 1.0


def metres_flattered(plan):
    plan["technicians"][0]["walk_m"] *= 0.9


def walking_flattered(plan):
    technician = plan["technicians"][0]
    technician["walk_s"] -= 30
    technician["work_s"] += 30


def waiting_hidden(plan):
    technician = plan["technicians"][0]
    technician["wait_s"] += 30
    technician["work_s"] -= 30


def work_left_out_of_the_sum(plan):
    plan["technicians"][1]["work_s"] -= 120


def straight_through_the_shed(plan):
    """The first leg of Bo's or Ada's that is long: bent through the shed."""
    technician = plan["technicians"][0]
    stop = technician["stops"][0]
    stop["path"] = [stop["path"][0], [35.0, 8.0], stop["path"][-1]]
    at = technician["path"].index(stop["inside"][0])
    technician["path"] = [*stop["path"], *technician["path"][at + 1 :]]


def too_near_a_machine(plan):
    """One corner moved 20 cm towards the machine that is walked round."""
    technician, stop = next((t, s) for t, s in _stops(plan) if len(s["inside"]) > 3)
    unit = next(u for u in full_yard().units if u.unit == stop["unit"])
    corner = stop["inside"][2]
    away = ((corner[0] - unit.x_m) ** 2 + (corner[1] - unit.y_m) ** 2) ** 0.5
    moved = [c + (m - c) * 0.2 / away for c, m in zip(corner, (unit.x_m, unit.y_m), strict=True)]
    at = technician["path"].index(corner)
    stop["inside"][2] = technician["path"][at] = moved


def out_of_the_boundary(plan):
    technician = plan["technicians"][0]
    stop = technician["stops"][0]
    stop["path"] = [stop["path"][0], [-5.0, 10.0], stop["path"][-1]]
    at = technician["path"].index(stop["inside"][0])
    technician["path"] = [*stop["path"], *technician["path"][at + 1 :]]


def jumps(plan):
    stop = plan["technicians"][0]["stops"][1]
    stop["path"][0] = [stop["path"][0][0] + 3, stop["path"][0][1]]


def path_is_another(plan):
    plan["technicians"][1]["path"][2] = [1.0, 1.0]


def starts_elsewhere(plan):
    plan["technicians"][0]["start_place"] = "gate"


def ends_elsewhere(plan):
    plan["technicians"][0]["path"][-1] = [5.0, 5.0]


def joint_forgotten(plan):
    _, _, stand, fitting = next(_fittings(plan))
    stand["fittings"].remove(fitting)


def joint_pumped_twice(plan):
    _, _, stand, fitting = next(_fittings(plan))
    stand["fittings"].append(copy.deepcopy(fitting))


def pumped_and_left_out(plan):
    _, stop, _, fitting = next(_fittings(plan))
    left = {"unit": stop["unit"], "joint": fitting["joint"], "reason": "no time"}
    plan["left"] = [*plan["left"], left]


def left_out_and_not_due(plan):
    plan["left"] = [*plan["left"], {"unit": "U-1", "joint": "right track tensioner",
                                    "reason": "no time"}]  # fmt: skip


def track_tension_pumped(plan):
    unit, joint = next(
        (u, j) for u in full_yard().units for j in full_yard().types[u.type].joints if j.never_pump
    )
    stop = _unit_stop(plan, lambda s: s["unit"] == unit.unit)
    stand = next(v for v in stop["stands"] if v["fittings"])
    task = {**copy.deepcopy(stand["fittings"][0]), "joint": joint.name}
    stand["fittings"].append({**task, "fitting": joint.fittings[0].name})


def unknown_fitting(plan):
    next(_fittings(plan))[3]["fitting"] = "middle"


def due_miscounted(plan):
    plan["due_joints"] += 1


def never_pump_not_listed(plan):
    plan["never_pump"] = plan["never_pump"][1:]


def one_stroke_too_few(plan):
    next(f for *_, f in _fittings(plan) if f["strokes"] > 1)["strokes"] -= 1


def dose_halved(plan):
    next(_fittings(plan))[3]["dose_cm3"] /= 2


def wrong_grease_told(plan):
    next(f for *_, f in _fittings(plan) if f["grease"] == "plain")["grease"] = "moly"


def wrong_gun(plan):
    task = next(f for *_, f in _fittings(plan) if f["gun"].startswith("lever"))
    task["gun"] = task["gun"].replace("lever", "second")


def gun_of_the_other(plan):
    """Every fitting of one technician pumped with the gun of the other."""
    for technician, _, _, fitting in _fittings(plan):
        if technician is plan["technicians"][1] and fitting["gun"] == "lever B":
            fitting["gun"] = "lever A"


def cartridge_change_forgotten(plan):
    fitting = next(f for *_, f in _fittings(plan) if f["put_in"])
    fitting["put_in"], fitting["cartridge_change"] = 0, False


def cartridge_changed_for_nothing(plan):
    fitting = next(f for *_, f in _fittings(plan) if not f["put_in"])
    fitting["put_in"], fitting["cartridge_change"] = 1, True


def carries_too_few(plan):
    technician = next(t for t in plan["technicians"] if any(s["reload"] for s in t["stops"]))
    count = next(c for c in technician["cartridges"].values() if c["used"])
    count["carry"] -= 1


def total_of_cartridges(plan):
    next(iter(plan["cartridges"].values()))["used"] += 1


def loads_nothing(plan):
    next(s for _, s in _stops(plan) if s["reload"])["load"] = {}


def store_that_is_none(plan):
    next(s for _, s in _stops(plan) if s["reload"])["unit"] = "gate"


def unit_visited_twice(plan):
    technician = plan["technicians"][0]
    technician["stops"].append(copy.deepcopy(technician["stops"][0]))


def unit_that_is_none(plan):
    _unit_stop(plan)["unit"] = "U-99"


def not_isolated(plan):
    _unit_stop(plan)["isolation"] = []


def nobody_called(plan):
    plan["people"] = []
    for technician in plan["technicians"]:
        for stop in technician["stops"]:
            stop["people"] = []


def called_twice(plan):
    first = plan["people"][0]
    other = next(call for call in plan["people"] if call["unit"] != first["unit"])
    for told in (plan["people"], *(s["people"] for t in plan["technicians"] for s in t["stops"])):
        for call in told:
            if call["unit"] in (first["unit"], other["unit"]):
                call["person"] = first["person"]
                call["begin"], call["end"] = first["begin"], first["end"]


def call_untold(plan):
    plan["people"].pop()


def isolation_hurried(plan):
    _unit_stop(plan)["isolation_s"] = 10.0


def fitting_moved(plan):
    fitting = next(_fittings(plan))[3]
    fitting["at_m"][0] += 0.01


def head_mistaken(plan):
    next(f for *_, f in _fittings(plan) if f["head"] == "conical")["head"] = "flush"


def band_mistaken(plan):
    next(f for *_, f in _fittings(plan) if f["band"] == "kneel")["band"] = "stand"


def arm_too_short(plan):
    """All fittings of the last stand done from the first one."""
    stop = _unit_stop(plan, lambda s: len([v for v in s["stands"] if v["fittings"]]) > 2)
    with_work = [v for v in stop["stands"] if v["fittings"]]
    with_work[0]["fittings"] += with_work[-1]["fittings"]
    with_work[-1]["fittings"] = []


def through_the_machine(plan):
    """A stand moved to the other side of its fitting: the machine is between."""
    for technician, stop, stand in _stands(plan):
        if stand["deck"] or not stand["fittings"] or len(stop["inside"]) < 2:
            continue
        x, y, _ = stand["fittings"][0]["at_m"]
        if [stand["x_m"], stand["y_m"]] == stop["inside"][-1]:
            moved = [2 * x - stand["x_m"], 2 * y - stand["y_m"]]
            stand["x_m"], stand["y_m"] = moved
            stop["inside"][-1] = moved
            del technician
            return
    raise AssertionError("no stand to move")


def stand_off_the_walk(plan):
    stand = _stand(plan, lambda v: v["fittings"] and not v["deck"])
    stand["x_m"] += 0.05


def deck_that_is_none(plan):
    _stand(plan, lambda v: v["deck"])["deck"] = "roof"


def beside_the_deck(plan):
    stand = _stand(plan, lambda v: v["deck"])
    stand["y_m"] += 3.0


def deck_too_high(plan):
    _stand(plan, lambda v: v["deck"])["height_m"] += 0.5


def posture_not_asked_for(plan):
    stand = _stand(plan, lambda v: v["event"] == "posture")
    stand["event"], stand["before"], stand["before_s"] = "", [], 0.0


def turn_forgotten(plan):
    stand = _stand(plan, lambda v: v["event"] == "turn")
    stand["event"], stand["event_joint"] = "", ""


def second_pass_forgotten(plan):
    _stand(plan, lambda v: v["again"])["again"] = []


def steps_not_told(plan):
    _stand(plan, lambda v: v["event"] == "turn")["before"] = []


def too_near_while_it_turns(plan):
    """The clear point moved to the machine."""
    technician, stop, stand = next((t, s, v) for t, s, v in _stands(plan) if v["event"] == "turn")
    unit = next(u for u in full_yard().units if u.unit == stop["unit"])
    old = [stand["x_m"], stand["y_m"]]
    new = [old[0] + (unit.x_m - old[0]) * 0.5, old[1] + (unit.y_m - old[1]) * 0.5]
    stand["x_m"], stand["y_m"] = new
    stop["inside"] = [new if p == old else p for p in stop["inside"]]
    technician["path"] = [new if p == old else p for p in technician["path"]]


def look_point_moved(plan):
    _stand(plan, lambda v: v["looks"])["looks"][0]["at_m"][2] += 0.5


def look_from_afar(plan):
    """A look point taken at the stand that is farthest from it."""

    def away_m(stand, look):
        return math.dist((stand["x_m"], stand["y_m"]), look["at_m"][:2])

    stop, seen, look, far = max(
        ((stop, seen, look, far)
         for technician in plan["technicians"] for stop in technician["stops"]
         for seen in stop["stands"] for look in seen["looks"] for far in stop["stands"]),
        key=lambda found: away_m(found[3], found[2]),
    )  # fmt: skip
    assert away_m(far, look) > 2.0, stop["unit"]  # a check is read from two metres
    seen["looks"].remove(look)
    far["looks"].append(look)


def shift_of_another_day(plan):
    plan["shift_start"] = _later(plan["shift_start"], 86_400)


def back_too_late(plan):
    technician = plan["technicians"][1]
    technician["finish"] = _later(plan["shift_start"], 1)


def sets_off_too_early(plan):
    plan["technicians"][0]["start"] = _later(plan["technicians"][0]["start"], -600)


def value_flattered(plan):
    plan["bound"]["value_s"] *= 0.97
    plan["bound"]["gap_pct"] = 100 * (1 - plan["bound"]["lower_s"] / plan["bound"]["value_s"])


def gap_flattered(plan):
    plan["bound"]["gap_pct"] = 2.0


def bound_above_the_plan(plan):
    plan["bound"]["lower_s"] = plan["bound"]["value_s"] * 1.01


def bound_beyond_the_last_finish(plan):
    """Two technicians, 10 s before the last finish: 20 s could be saved, not a tenth."""
    start = datetime.fromisoformat(plan["at"])
    ends = [datetime.fromisoformat(t["finish"]) for t in plan["technicians"]]
    plan["bound"]["no_sooner_s"] = (max(ends) - start).total_seconds() - 10


def fixed_part_inflated(plan):
    _unit_stop(plan)["fixed_s"] += 30


def site_of_another_name(plan):
    plan["site"] = "Elsewhere"


def technician_of_nobody(plan):
    plan["technicians"][0]["name"] = "Cy"


def time_without_offset(plan):
    plan["technicians"][0]["finish"] = "2031-03-04T05:00:00"


PLANTED = {
    arrives_too_early: "clock",
    idles_on_the_way: "clock",
    check_in_forgotten: "lone work",
    told_to_nobody: "lone work",
    told_to_a_stranger: "lone work",
    road_not_told: "dangers",
    height_not_told: "dangers",
    leaves_too_early: "clock",
    fitting_takes_no_time: "clock",
    steps_take_no_time: "clock",
    metres_flattered: "sums",
    walking_flattered: "sums",
    waiting_hidden: "sums",
    work_left_out_of_the_sum: "sums",
    straight_through_the_shed: "ground",
    too_near_a_machine: "clearance",
    out_of_the_boundary: "ground",
    jumps: "walk",
    path_is_another: "walk",
    starts_elsewhere: "walk",
    ends_elsewhere: "walk",
    joint_forgotten: "due",
    joint_pumped_twice: "due",
    pumped_and_left_out: "due",
    left_out_and_not_due: "due",
    track_tension_pumped: "never pump",
    unknown_fitting: "due",
    due_miscounted: "due",
    never_pump_not_listed: "marks",
    one_stroke_too_few: "dose",
    dose_halved: "dose",
    wrong_grease_told: "grease",
    wrong_gun: "grease",
    gun_of_the_other: "guns",
    cartridge_change_forgotten: "cartridges",
    cartridge_changed_for_nothing: "cartridges",
    carries_too_few: "cartridges",
    total_of_cartridges: "cartridges",
    loads_nothing: "stores",
    store_that_is_none: "stores",
    unit_visited_twice: "visits",
    unit_that_is_none: "visits",
    not_isolated: "isolation",
    nobody_called: "second person",
    called_twice: "people",
    call_untold: "people",
    isolation_hurried: "isolation",
    fitting_moved: "places",
    head_mistaken: "places",
    band_mistaken: "reach",
    arm_too_short: "reach",
    through_the_machine: "sight",
    stand_off_the_walk: "stands",
    deck_that_is_none: "stands",
    beside_the_deck: "stands",
    deck_too_high: "stands",
    posture_not_asked_for: "postures",
    turn_forgotten: "procedures",
    second_pass_forgotten: "procedures",
    steps_not_told: "procedures",
    too_near_while_it_turns: "stand clear",
    look_point_moved: "looks",
    look_from_afar: "looks",
    shift_of_another_day: "shift",
    back_too_late: "shift",
    sets_off_too_early: "shift",
    value_flattered: "certificate",
    gap_flattered: "certificate",
    bound_above_the_plan: "certificate",
    bound_beyond_the_last_finish: "certificate",
    fixed_part_inflated: "certificate",
    site_of_another_name: "site",
    technician_of_nobody: "site",
    time_without_offset: "clock",
}


@pytest.mark.parametrize("plant", PLANTED, ids=lambda plant: plant.__name__)
def test_a_planted_error_is_found(plant, good):
    written = good.model_dump(mode="json")
    plant(written)
    report = audit_round(full_yard(), RoundPlan.model_validate(written))
    assert PLANTED[plant] in {f.promise for f in report.findings}, _lines(report.findings)


def _lines(findings: tuple[Finding, ...]) -> str:
    return "\n".join(f.line() for f in findings) or "nothing found"


# ------------------------------------------------------------------ the site under the plan


@dataclass(frozen=True)
class Changed:
    """A change of the raw site that a plan made before does not hold on."""

    promise: str
    site: Callable


def _with_ground(**changes):
    return lambda site: replace(site, ground=replace(site.ground, **changes))


def _with_units(change):
    return lambda site: replace(site, units=tuple(change(u) for u in site.units))


def _window(unit, **window):
    return lambda u: u.model_copy(update=window) if u.unit == unit else u


def _with_rules(**changes):
    return lambda site: replace(site, rules=site.rules.model_copy(update=changes))


def _with_people_from(clock, **changes):
    def changed(site):
        (mate,) = site.people
        values = {"on_site_from": clock, **changes}
        return replace(site, people=(mate.model_copy(update=values),))

    return changed


def _road_shut(site):
    crossings = tuple(
        replace(c, hours=(Hours(time(4, 0), time(6, 0)),)) for c in site.ground.crossings
    )
    return replace(site, ground=replace(site.ground, crossings=crossings))


def _zone_over(unit):
    def changed(site):
        u = next(u for u in site.units if u.unit == unit)
        zone = Area("blasting", "no_go", box(u.x_m - 9, u.y_m - 9, u.x_m + 9, u.y_m + 9),
                    hours=(Hours(time(4, 0), time(6, 0)),))  # fmt: skip
        return replace(site, ground=replace(site.ground, no_go=(*site.ground.no_go, zone)))

    return changed


def _fence_across(site):
    fence = Barrier("new fence", LineString([(0, 15), (150, 15)]))
    barriers = (*site.ground.barriers, fence)
    return replace(site, ground=replace(site.ground, barriers=barriers))


CHANGED = {
    "crossings shut": Changed("open hours", _road_shut),
    "zone over a machine": Changed("open hours", _zone_over("U-2")),
    "no crossing at all": Changed("ground", _with_ground(crossings=())),
    "fence across the way": Changed("ground", _fence_across),
    "crossing waits longer": Changed(
        "clock",
        lambda site: replace(
            site,
            ground=replace(
                site.ground,
                crossings=tuple(replace(c, wait_s=c.wait_s + 30) for c in site.ground.crossings),
            ),
        ),
    ),
    "mud all over": Changed(
        "clock",
        _with_ground(slow_ground=(Area("mud", "slow_ground", box(0, 0, 160, 120), time_factor=2),)),
    ),
    "level ground": Changed("clock", _with_ground(spot_heights=((0, 0, 0),))),
    "slower pace": Changed("clock", _with_rules(walking_speed_m_s=1.0)),
    "wider clearance": Changed("clearance", _with_rules(clearance_m=0.4)),
    "machine comes later": Changed(
        "windows",
        _with_units(_window("U-2", parked_from=datetime.fromisoformat("2031-03-04T06:00+00:00"))),
    ),
    "machine goes sooner": Changed(
        "windows",
        _with_units(_window("U-1", parked_to=datetime.fromisoformat("2031-03-04T04:05+00:00"))),
    ),
    "nobody at the controls": Changed("people", lambda site: replace(site, people=())),
    "operators come with the shift": Changed("people", _with_people_from("06:20")),
    "nobody may operate it": Changed("people", _with_people_from("00:00", operates=("crane",))),
    "a wider gap round what moves": Changed("swept ground", _with_rules(swing_gap_m=60.0)),
    "farther off what moves": Changed("stand clear", _with_rules(stand_clear_m=25.0)),
    "farther off haul roads": Changed("ground", _with_rules(haul_road_clearance_m=29.0)),
    "no posture is asked for": Changed("postures", _with_rules(posture_moves=False)),
    "a word more often": Changed("lone work", _with_rules(check_in_min=5.0)),
    "whoever was told is not there": Changed("lone work", _with_people_from("06:20")),
    "a smaller bag": Changed(
        "bag",
        lambda site: replace(
            site,
            technicians=tuple(t.model_copy(update={"bag_cartridges": 2}) for t in site.technicians),
        ),
    ),
    "a skill is asked for": Changed(
        "skills", _with_units(lambda u: u.model_copy(update={"skill": "crane"}))
    ),
    "a shorter hose": Changed(
        "reach",
        lambda site: replace(
            site, guns=tuple(g.model_copy(update={"hose_m": 0.0}) for g in site.guns)
        ),
    ),
    "shift starts earlier": Changed("shift", lambda site: replace(site, shift_start="04:20")),
    "machine stands elsewhere": Changed(
        "places",
        _with_units(lambda u: u.model_copy(update={"x_m": u.x_m + 0.01}) if u.unit == "U-4" else u),
    ),
}


@pytest.mark.parametrize("name", CHANGED)
def test_a_changed_site_is_found(name, good):
    change = CHANGED[name]
    report = audit_round(change.site(full_yard()), good)
    assert change.promise in {f.promise for f in report.findings}, _lines(report.findings)


def test_a_bound_that_follows_from_the_last_finish_is_none(good):
    """Two technicians and a last finish that could be 10 s sooner: 20 s of the route."""
    written = good.model_dump(mode="json")
    bound_beyond_the_last_finish(written)
    bound = written["bound"]
    bound["lower_s"] = bound["value_s"] - 20
    bound["gap_pct"] = 100 * 20 / bound["value_s"]
    report = audit_round(full_yard(), RoundPlan.model_validate(written))
    assert _lines(report.findings) == "nothing found"


def test_machines_are_placed_and_outlined_once(good):
    """A large fleet is asked for again and again; the quarry took 1.4 times as long without."""
    machines = Case(Basis(full_yard(), good)).machines
    unit = full_yard().units[0]
    assert machines.placed_in(unit.unit, "parked") is machines.placed_in(unit.unit, "parked")
    key = unit.unit, unit.posture
    assert machines.outlines[key] is machines.outlines[key]
    assert machines.outlines[key].area > 5.0


def test_there_are_more_than_thirty_kinds():
    assert len(PLANTED) + len(CHANGED) >= 30
    assert len(set(PLANTED.values()) | {c.promise for c in CHANGED.values()}) >= 25
