"""Bags too small for all of a unit, and store visits that nothing is loaded at."""

from collections import Counter
from dataclasses import replace

from greaseroute.rounds.clock import STORE, clocks_of
from greaseroute.rounds.in_order import without_needless_stores
from greaseroute.rounds.planner import plan_round
from greaseroute.rounds.prepare import prepare
from greaseroute.rounds.ready_team import build_team
from greaseroute.rounds.request import RoundRequest
from greaseroute.rounds.why_left import NO_BAG_MORE
from greaseroute.site.crew import WorkingRules
from tests.rounds.yards import AT, GREASES, GUNS, technician, unit, yard

STILL = WorkingRules(posture_moves=False)


def small_bag(left_strokes, *, bag=1, reserve=0):
    guns = tuple(g.model_copy(update={"left_strokes": left_strokes}) for g in GUNS)
    greases = tuple(
        g.model_copy(update={"cartridge_g": 60.0, "reserve_cartridges": reserve}) for g in GREASES
    )
    return yard(
        [unit(1, "wheel-loader-20t", 60, 60)],
        rules=STILL, guns=guns, greases=greases, technicians=(technician(bag_cartridges=bag),),
    )  # fmt: skip


def served(plan):
    return [f for t in plan.technicians for s in t.stops for v in s.stands for f in v.fittings]


def test_a_bag_too_small_for_a_unit_serves_what_it_is_enough_for():
    """One cartridge of 60 g and 10 strokes in each gun: as many joints as those are enough for."""
    plan = plan_round(small_bag(10), RoundRequest(AT))
    done = served(plan)
    assert sum(f.put_in for f in done) == 1
    missed = [x for x in plan.left if x.reason == NO_BAG_MORE]
    assert missed
    strokes = Counter[str]()
    for f in done:
        strokes[f.gun] += f.strokes
    rest = {f.gun: 10 + f.put_in * 47 for f in done}  # 60 g x 0.97 / 0.9 / 1.4 less priming
    assert sum(strokes.values()) == 56  # by weight alone, in quarters of the unit, it would be 40
    assert all(strokes[gun] <= max(rest[gun], 10 + 47) for gun in strokes)


def test_reserves_that_fill_the_bag_leave_room_for_one():
    plan = plan_round(small_bag(10, bag=2, reserve=2), RoundRequest(AT))
    assert sum(f.put_in for f in served(plan)) == 1
    (walk,) = plan.technicians
    assert sum(c.carry for c in walk.cartridges.values()) <= 2


def test_what_the_guns_hold_is_pumped_where_no_cartridge_goes_in():
    """No store and guns with 30 strokes: what they do is done."""
    site = small_bag(30)
    ground = replace(site.ground, places=tuple(
        replace(p, kind="start") if p.kind == "store" else p for p in site.ground.places
    ))  # fmt: skip
    plan = plan_round(replace(site, ground=ground), RoundRequest(AT))
    assert sum(f.strokes for f in served(plan)) >= 30


def test_a_store_visit_that_saves_nothing_goes():
    site = small_bag(200, bag=9)
    team = build_team(prepare(site, RoundRequest(AT), progress=lambda _: None))
    (clock,) = clocks_of(team)
    ways = range(len(team.ways.ways))
    first = next(w for w in ways if clock.run([w]) < 2**49)
    assert without_needless_stores(clock, [STORE, first, STORE]) == (first,)


def test_a_store_visit_that_loads_nothing_goes_though_it_is_on_a_quicker_way():
    """By way of the store one is back sooner, such as where one waits at another gate."""
    site = small_bag(200, bag=9)
    team = build_team(prepare(site, RoundRequest(AT), progress=lambda _: None))
    (clock,) = clocks_of(team)
    first = next(w for w in range(len(team.ways.ways)) if clock.run([w]) < 2**49)
    home = clock.home
    clock.home = lambda spot: home(spot) + 10**6 * (spot.point != team.stores[0])
    assert clock.run([first, STORE]) < clock.run([first])
    assert without_needless_stores(clock, [first, STORE]) == (first,)


def test_a_store_visit_that_is_needed_stays():
    """Two units that each take what the bag holds: between them the store stays."""
    site = small_bag(0, bag=6)
    two = replace(site, units=(*site.units, unit(2, "wheel-loader-20t", 100, 60)))
    team = build_team(prepare(two, RoundRequest(AT), progress=lambda _: None))
    (clock,) = clocks_of(team)
    of = [[w for w, row in enumerate(team.ways.way_unit) if row == k] for k in (0, 1)]
    room = min(clock.pumped(w, clock.start.left).put_in for w in of[0])
    tight = clock.with_room(room)
    run = next([a, STORE, b] for a in of[0] for b in of[1] if tight.run([a, STORE, b]) < 2**49)
    assert tight.run([run[0], run[2]]) >= 2**49
    assert without_needless_stores(tight, run) == tuple(run)
