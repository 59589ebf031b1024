"""Rounds turned into times, each step worked out by hand beside it."""

import math
from copy import copy
from datetime import timedelta
from types import SimpleNamespace

import numpy as np
import pytest

from greaseroute.catalogue.shelf import shelf_type
from greaseroute.rounds.cartridges import changes_ms, loads
from greaseroute.rounds.clock import STORE, clocks_of
from greaseroute.rounds.prepare import prepare
from greaseroute.rounds.ready_team import build_team
from greaseroute.rounds.request import RoundRequest
from greaseroute.rounds.schedule import (
    Clockwork,
    Halt,
    Route,
    fixed_ms,
    route_dependent_ms,
    schedule_of,
    timed,
)
from greaseroute.site.crew import WorkingRules
from greaseroute.walk.legs import NEVER, Legs
from tests.rounds.yards import AT, GREASES, GUNS, unit, yard


def clock(*spans):
    site = yard([unit(0, "grader-18t", 20, 20)])
    return Clockwork(
        site, SimpleNamespace(ways=()), Legs(tuple((b, np.asarray(t)) for b, t in spans)), None
    )


DIRECT = [[0, 60_000], [60_000, 0]]


def test_a_store_visit_takes_the_reload_time():
    route = Route(0, 0, 0, 1_000, (Halt(-1, point=1),))
    found = timed(route, clock((0, DIRECT)))
    # there 60 s, reload 60 s, back 60 s, from 1 s on
    (halt,) = found.halts
    assert (halt.arrive_ms, halt.leave_ms, found.finish_ms) == (61_000, 121_000, 181_000)


def test_work_does_not_begin_before_its_window():
    route = Route(0, 0, 0, 0, (Halt(-1, point=1, not_before_ms=100_000),))
    (halt,) = timed(route, clock((0, DIRECT))).halts
    assert (halt.arrive_ms, halt.begin_ms, halt.leave_ms) == (60_000, 100_000, 160_000)


# ------------------------------------------------------------------ a small morning by hand


@pytest.fixture(scope="module")
def team():
    """Two machines, small cartridges, a window from 04:20 to 04:50, a reload of 60 s."""
    guns = tuple(
        g.model_copy(update={"left_strokes": 5, "change_s": 90.0, "priming_strokes": 0})
        for g in GUNS
    )
    greases = tuple(
        g.model_copy(update={"cartridge_g": 20.0, "reserve_cartridges": 0}) for g in GREASES
    )
    window = {"parked_from": AT + timedelta(minutes=20), "parked_to": AT + timedelta(minutes=50)}
    machines = [
        unit(1, "wheel-loader-20t", 40, 40),
        unit(2, "articulated-dumper-30t", 90, 60, **window),
    ]
    site = yard(machines, rules=WorkingRules(posture_moves=False), guns=guns, greases=greases)
    work = [
        (each.unit, j.name)
        for each in machines
        for j in [j for j in shelf_type(each.type).joints if j.by_hand and not j.procedure][:6]
    ]
    return build_team(prepare(site, RoundRequest(AT, work), progress=lambda _: None))


def ways_of(team, row):
    return [w for w, r in enumerate(team.ways.way_unit.tolist()) if r == row]


def test_a_round_by_the_clock_and_its_schedule_are_one(team):
    """Each step by hand: legs, window, work, changes, reload; the schedule says the same."""
    (clock,) = clocks_of(team)
    first, second = ways_of(team, 0)[0], ways_of(team, 1)[0]
    found = schedule_of(clock, (first, STORE, second))
    now, at, idle, left = clock.member.start_ms, clock.member.start, 0, clock.start.left
    legs = clock.member.legs
    for halt, way in zip(found.halts, (first, None, second), strict=True):
        enter = team.stores[0] if way is None else clock.enter[way]
        arrive = legs.leg(at, enter, from_ms=now).arrive_ms
        assert halt.arrive_ms == arrive
        if way is None:
            assert halt.leave_ms == arrive + 60_000
            at, now = enter, halt.leave_ms
            continue
        begin = max(arrive, team.window_of(way)[0])
        idle += begin - arrive
        pumped, spent = dict(zip(["lever", "second"], left, strict=True)), 0
        for f in halt.call.fittings:
            if pumped[f.gun] < f.strokes:
                new = math.ceil(f.strokes / clock.capacity[0])
                pumped[f.gun], spent = new * clock.capacity[0], spent + new * 90_000
            pumped[f.gun] -= f.strokes
        assert spent > 0
        visit = team.ways.visits[team.ways.ways[way].visit]
        now = begin + visit.total_ms(team.ways.ways[way].way) + spent
        assert (halt.begin_ms, halt.leave_ms) == (begin, now)
        assert int(team.ways.total_ms[way]) == visit.total_ms(team.ways.ways[way].way)
        at, left = clock.leave[way], tuple(pumped.values())
    home = legs.leg(at, clock.member.finish, from_ms=now).arrive_ms
    assert (found.finish_ms, found.idle_ms) == (home, idle)
    assert clock.run((first, STORE, second)) == home
    assert idle > 0
    back = (second, STORE, first)  # nothing is waited for after the store here
    assert clock.run(back) == schedule_of(clock, back).finish_ms < NEVER


def test_what_the_route_decides_is_the_rest(team):
    (clock,) = clocks_of(team)
    first, second = ways_of(team, 0)[0], ways_of(team, 1)[0]
    found = schedule_of(clock, (first, STORE, second))
    calls = [h.call for h in found.halts if h.call is not None]
    changes_ms = sum(90_000 * n for h in found.halts for n in h.put_in)
    fixed = sum(c.visit.fixed_ms for c in calls) + changes_ms
    walked = sum(h.walk_ms for h in found.halts) + found.home.walk_ms
    inside = sum(c.visit.total_ms(c.way) - c.visit.fixed_ms for c in calls)
    assert fixed_ms(found, team.site) == fixed
    assert route_dependent_ms(found, team.site) == walked + inside + 60_000  # and the reload
    assert found.finish_ms - found.idle_ms == walked + inside + 60_000 + fixed


def test_window_end_and_bag_are_kept(team):
    (clock,) = clocks_of(team)
    first, second = ways_of(team, 0)[0], ways_of(team, 1)[0]
    alone = clock.pumped(first, clock.start.left).put_in
    assert alone > 0
    assert clock.with_room(alone).run((first,)) < NEVER
    assert clock.with_room(alone - 1).run((first,)) == NEVER
    again = clock.pumped(second, clock.pumped(first, clock.start.left).left).put_in
    most = max(alone, again)
    assert clock.with_room(most).run((first, STORE, second)) < NEVER  # filled up in between
    spot = clock.work(clock.start, first)
    end_ms = team.window_of(second)[1]
    latest_ms = end_ms - clock.total_ms[second] - clock.pumped(second, spot.left).change_ms
    there = spot._replace(point=clock.enter[second], used=0)
    just = clock.work(there._replace(ready_ms=latest_ms), second)
    assert just is not None
    assert just.ready_ms == end_ms < clock.end_ms
    assert clock.work(there._replace(ready_ms=latest_ms + 1), second) is None
    assert clock.home(spot._replace(ready_ms=clock.end_ms)) == NEVER


def test_a_gun_that_holds_just_enough_is_not_changed(team):
    (clock,) = clocks_of(team)
    first = ways_of(team, 0)[0]
    one_by_one = clock._pump(((0, 5), (0, 1)), [5, 0])
    assert (one_by_one.put_in, one_by_one.each_ms) == (1, (0, 90_000))
    need = clock.pumped(first, (1000, 1000))
    assert (need.put_in, need.change_ms) == (0, 0)


def test_each_cartridge_takes_its_time_and_what_is_not_used_is_not_loaded(team):
    (clock,) = clocks_of(team)
    call = schedule_of(clock, (ways_of(team, 0)[0],)).halts[0].call
    guns = {g.name: g for g in team.site.guns}
    twice = [2] + [0] * (len(call.fittings) - 1)
    assert changes_ms(call, twice, guns=guns)[0] == 180_000
    assert loads([call], [[0] * len(call.fittings)], reloads=[]) == [{}]


def test_work_waits_for_who_is_wanted_for_it(team):
    """Somebody who can be had from 04:30 on: the schedule begins then, as the clock does."""
    (clock,) = clocks_of(team)
    first = ways_of(team, 0)[0]
    half_past = 30 * 60_000
    later = copy(clock)
    later.begin_ms = lambda way, from_ms, each_ms: max(from_ms, half_past)
    found = schedule_of(later, (first,))
    assert found.halts[0].begin_ms == half_past
    assert later.run((first,)) == found.finish_ms
