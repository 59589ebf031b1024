"""People who move machines and lend a hand: nobody there, one there late, one for two machines."""

from dataclasses import replace
from datetime import datetime, timedelta
from itertools import permutations, product

import pytest

from greaseroute.audit.audit import audit_round
from greaseroute.audit.basis import Asked
from greaseroute.rounds.planner import plan_round
from greaseroute.rounds.prepare import prepare
from greaseroute.rounds.ready_team import build_team
from greaseroute.rounds.request import RoundRequest
from greaseroute.rounds.team import crew_problem
from greaseroute.site.crew import WorkingRules
from greaseroute.site.people import Person
from greaseroute.site.swept import slew_misses, surroundings, swing_circle
from greaseroute.visits.steps import unit_call
from greaseroute.visits.timeline import needs_of, timeline
from greaseroute.walk.yard import stances_now
from tests.rounds.yards import AT, GUNS, technician, unit, yard
from tests.yard_checks import findings

DIGGER = "crawler-excavator-22t"
MOVES = WorkingRules(posture_moves=True, posture_move_min=3.0)


def banksman(begin="05:30", end="10:00", **changes):
    return (Person(name="Vera", on_site_from=begin, on_site_to=end, **changes),)


def site_of(*units, people=(), **changes):
    return replace(yard(units, rules=MOVES, **changes), people=people)


def events(plan):
    return [v for t in plan.technicians for s in t.stops for v in s.stands if v.event]


def test_where_nobody_else_is_there_nobody_is_called():
    site = site_of(unit(0, DIGGER, 60, 60))
    plan = plan_round(site, RoundRequest(AT))
    assert plan.people == ()
    assert events(plan) == []
    ring = next(x for x in plan.left if x.joint == "slew ring")
    assert ring.reason == "nobody is at hand who may operate it"
    assert ring.helps.startswith("somebody who may operate it (excavator), for 6 min between 04:00")
    assert audit_round(site, plan).findings == ()
    assert findings(site, plan) == []


def test_a_banksman_from_half_past_five_brings_the_procedure_after_half_past_five():
    site = site_of(unit(0, DIGGER, 60, 60), people=banksman())
    plan = plan_round(site, RoundRequest(AT))
    assert plan.left == ()
    assert {c.person for c in plan.people} == {"Vera"}
    first = min(datetime.fromisoformat(c.begin) for c in plan.people)
    assert first == AT + timedelta(minutes=90)
    assert audit_round(site, plan).findings == ()
    assert findings(site, plan) == []


def test_who_may_not_operate_a_machine_is_not_called_to_it():
    site = site_of(unit(0, DIGGER, 60, 60), people=banksman("04:00", operates=("loader",)))
    assert plan_round(site, RoundRequest(AT)).people == ()
    site = site_of(unit(0, DIGGER, 60, 60), people=banksman("04:00", operates=("excavator",)))
    assert plan_round(site, RoundRequest(AT)).people != ()


def test_two_diggers_five_metres_apart_get_no_full_turn():
    site = site_of(unit(0, DIGGER, 60, 60), unit(1, DIGGER, 65.3, 60), people=banksman("04:00"))
    plan = plan_round(site, RoundRequest(AT))
    assert [v for v in events(plan) if v.event == "turn"] == []
    rings = [x for x in plan.left if x.joint == "slew ring"]
    assert len(rings) == 2
    placed = {u: p[0] for u, p in stances_now(site).items()}
    middle, radius_m = swing_circle(placed["U-0"])
    over_m = radius_m - middle.distance(placed["U-1"].outline)
    assert f"overlaps U-1 by {over_m:.2f} m" in rings[0].reason
    assert findings(site, plan) == []


def test_room_to_slew_is_the_circle_and_the_gap_to_the_millimetre():
    site = site_of(unit(0, DIGGER, 60, 60))
    (placed,) = stances_now(site)["U-0"]
    middle, radius_m = swing_circle(placed)
    for more_m, count in ((0.001, 0), (-0.001, 1)):
        wall = middle.buffer(0.01).envelope
        away_m = radius_m + MOVES.swing_gap_m + more_m + 0.01
        wall = type(wall)([(x + away_m, y) for x, y in wall.exterior.coords])
        around = surroundings(site.ground, {"wall": [wall]}, gap_m=MOVES.swing_gap_m)
        assert len(slew_misses(placed, around)) == count


def test_needs_lie_within_the_time_of_the_visit_and_the_timeline_ends_with_it():
    site = site_of(unit(0, DIGGER, 60, 60), unit(1, "grader-18t", 100, 60),
                   people=banksman("04:00"))  # fmt: skip
    team = build_team(prepare(site, RoundRequest(AT), progress=lambda _: None))
    for here in team.ways.ways:
        visit = team.ways.visits[here.visit]
        call = unit_call(visit, here.way)
        last = timeline(call)[-1]
        assert last.end_ms + last.call.node.climb_ms == visit.total_ms(here.way)
        for need in needs_of(call):
            assert need.offset_ms >= 0
            assert need.offset_ms + need.duration_ms <= visit.total_ms(here.way)


def test_a_way_whose_people_come_when_its_window_is_over_has_no_time():
    """A window that ends before the banksman comes: no window that ends before it begins."""
    site = site_of(unit(0, DIGGER, 60, 60), people=banksman("05:30"))
    team = build_team(prepare(site, RoundRequest(AT), progress=lambda _: None))
    short = replace(team, windows={"U-0": (0, 60_000)})
    windows = crew_problem(short, skip_loss={"U-0": 1}).way_window_ms
    called = [team.ways.visits[w.visit].needs_people for w in team.ways.ways]
    assert any(called)
    assert {tuple(row) for row, wanted in zip(windows.tolist(), called, strict=True) if wanted} == {
        (0, 0)
    }


def test_one_banksman_and_two_machines_every_order_to_the_millisecond():
    """Waiting for the banksman is used for work next door: enumerated, way by way."""
    guns = tuple(g.model_copy(update={"change_s": 0.0}) for g in GUNS)
    units = (unit(0, DIGGER, 40, 60), unit(1, "crawler-dozer-20t", 110, 60))
    for begin in ("04:00", "04:08", "04:25", "05:10"):
        site = site_of(*units, people=banksman(begin), guns=guns)
        plan = plan_round(site, RoundRequest(AT))
        finish = datetime.fromisoformat(plan.technicians[0].finish)
        ready = prepare(site, RoundRequest(AT), progress=lambda _: None)
        assert round((finish - AT) / timedelta(milliseconds=1)) == _enumerated(ready, begin)


def _enumerated(ready, begin):
    team = build_team(ready)
    walk = team.members[0].spans[0][1]
    hour, minute = map(int, begin.split(":"))
    from_ms = ((hour - 4) * 60 + minute) * 60_000
    ways = {u: [] for u in team.ways.units}
    for here in team.ways.ways:
        visit = team.ways.visits[here.visit]
        needs = needs_of(unit_call(visit, here.way))
        first = needs[0].offset_ms if needs else None
        ways[visit.work.unit.unit].append((here, visit.total_ms(here.way), first))
    ends = []
    for order in permutations(ways):
        for chosen in product(*(ways[u] for u in order)):
            now, point = 0, team.members[0].start
            for here, total, first in chosen:
                now += int(walk[point, here.enter])
                now = now if first is None else max(now, from_ms - first)
                now, point = now + total, here.leave
            ends.append(now + int(walk[point, team.members[0].finish]))
    return min(ends)


def test_two_technicians_one_banksman_every_share_to_the_millisecond():
    """He is at one machine at a time and walks between them: every share, way and turn of his."""
    guns = tuple(
        GUNS[0].model_copy(update={"name": name, "change_s": 0.0}) for name in ("lever", "second")
    )
    crew = (technician(guns=("lever",)), technician("Bo", guns=("second",)))
    units = (unit(0, DIGGER, 40, 60), unit(1, DIGGER, 110, 60))
    work = [("U-0", "slew ring"), ("U-1", "slew ring")]
    for begin in ("04:00", "04:08", "04:25"):
        site = site_of(*units, people=banksman(begin), technicians=crew, guns=guns)
        request = RoundRequest(AT, work=work)
        plan = plan_round(site, request)
        assert plan.left == ()
        last = max(datetime.fromisoformat(t.finish) for t in plan.technicians if t.stops)
        ready = prepare(site, request, progress=lambda _: None)
        assert round((last - AT) / timedelta(milliseconds=1)) == _shared_out(ready, begin)


def _shared_out(ready, begin):
    """The least last finish of two technicians at two machines, one each or both for one."""
    team = build_team(ready)
    walk, store = team.members[0].spans[0][1], team.members[0].start
    hour, minute = map(int, begin.split(":"))
    from_ms = ((hour - 4) * 60 + minute) * 60_000
    ways = [[], []]
    for here in team.ways.ways:
        visit = team.ways.visits[here.visit]
        if team.outfit_of_visit[here.visit] == team.outfit_of_visit[0]:  # both find the same
            needs = [(n.offset_ms, n.offset_ms + n.duration_ms)
                     for n in needs_of(unit_call(visit, here.way))]  # fmt: skip
            unit = team.ways.units.index(visit.work.unit.unit)
            ways[unit].append((here.enter, here.leave, visit.total_ms(here.way), needs))
    ends = []
    for one, two in [(a, b) for a in ways[0] for b in ways[1]]:
        for first, then in ((one, two), (two, one)):
            had = _earliest(first, int(walk[store, first[0]]), from_ms, None, walk)
            done = had + first[2]
            alone = _earliest(then, done + int(walk[first[1], then[0]]), from_ms, None, walk)
            ends.append(alone + then[2] + int(walk[then[1], store]))
            beside = _earliest(then, int(walk[store, then[0]]), from_ms, (first, had), walk)
            ends.append(max(done + int(walk[first[1], store]),
                            beside + then[2] + int(walk[then[1], store])))  # fmt: skip
    return min(ends)


def _earliest(way, arrive, from_ms, other, walk):
    """When a way can begin with the banksman there for each need, beside another visit."""
    enter, leave, _, needs = way
    starts = {arrive, *(from_ms - a for a, _ in needs)}
    busy = []
    if other is not None:
        (there, gone, _, his), begun = other
        busy = [(begun + a - int(walk[leave, there]), begun + b + int(walk[gone, enter]))
                for a, b in his]  # fmt: skip
        starts |= {end - a for _, end in busy for a, _ in needs}

    def fine(at):
        mine = [(at + a, at + b) for a, b in needs]
        return all(a >= from_ms for a, _ in mine) and all(
            b <= first or last <= a for a, b in mine for first, last in busy
        )

    return min(at for at in starts if at >= arrive and fine(at))


def test_two_technicians_share_one_banksman_who_is_at_one_machine_at_a_time():
    crew = (technician(guns=("lever",)), technician("Bo", guns=("second",)))
    units = (unit(0, DIGGER, 40, 60), unit(1, DIGGER, 110, 60))
    work = [("U-0", "slew ring"), ("U-1", "slew ring")]
    guns = (GUNS[0], GUNS[0].model_copy(update={"name": "second"}))
    site = site_of(*units, people=banksman("04:00"), technicians=crew, guns=guns)
    one = plan_round(site, RoundRequest(AT, work=work))
    two = plan_round(
        replace(site, people=banksman("04:00", at_once=2)), RoundRequest(AT, work=work)
    )
    assert findings(site, one) == []
    asked = Asked(work=frozenset(work))
    assert audit_round(site, one, asked=asked).findings == ()
    calls = sorted(one.people, key=lambda c: c.begin)
    assert len(calls) == 2
    gap = datetime.fromisoformat(calls[1].begin) - datetime.fromisoformat(calls[0].end)
    # at least the straight way between the machines, 70 m less their circles
    assert gap >= timedelta(seconds=(70 - 2 * 9) / 1.2)
    assert max(t.finish for t in one.technicians) > max(t.finish for t in two.technicians)


def test_the_steps_of_a_move_stand_in_the_order_of_a_yard():
    site = site_of(unit(0, DIGGER, 60, 60), people=banksman("04:00"))
    plan = plan_round(site, RoundRequest(AT))
    (turn,) = [v for v in events(plan) if v.event == "turn"]
    words = ("to this place", "lock and tag off", "clear and seen", "horn", "lift", "Slew",
             "lower", "lock and tag on", "back in")  # fmt: skip
    at = [next(k for k, s in enumerate(turn.steps) if w in s.do) for w in words]
    assert at == sorted(at)
    assert sum(s.work_s for s in turn.steps) == pytest.approx(turn.before_s, abs=0.01)
    (first,) = [v for v in events(plan) if v.event == "posture"]
    stop = plan.technicians[0].stops[0]
    assert stop.stands[0] == first  # called first: nothing is done in the parked position
    assert stop.isolation_s == 0
    assert not any("lock and tag off" in s.do for s in first.steps)
