"""The rest of a round planned from what its morning kept: the same plan as one made afresh."""

from dataclasses import replace
from datetime import datetime, timedelta

import numpy as np
import pytest
from shapely.geometry import box

import greaseroute.rounds.in_hand as in_hand
import greaseroute.rounds.kept_units as kept_units
import greaseroute.rounds.replan as replan
from greaseroute.errors import UnknownName
from greaseroute.rounds.change import BlockedFitting, DoneSoFar, MovedUnit, orders_of
from greaseroute.rounds.planner import plan_round, take_in_hand
from greaseroute.rounds.replan import Change
from greaseroute.site.crew import WorkingRules
from tests.rounds.small_sites import alone_site, pair_site
from tests.rounds.yards import AT, random_yard, technician, unit, yard

LOADER = "wheel-loader-20t"


def so_far(plan, at, **more):
    """Everybody stands where the last stop done at a moment ended, and it is all booked."""
    places, done = {}, []
    for walk in plan.technicians:
        for stop in walk.stops:
            if datetime.fromisoformat(stop.leave) <= at and not stop.reload:
                done.append(stop.unit)
                places[walk.name] = stop.inside[-1]
    return DoneSoFar(**{"at": at, "places": places, "done_units": tuple(done), **more})


def kept(hand, told):
    """What the rest keeps of the morning, or None."""
    change = Change(hand.ready.site, replace(hand.wish, work=hand.ready.items), told, hand.plan)
    return in_hand.kept_for(hand.ready, change.site, change.wish)


def fresh(hand, told):
    return plan_round(
        hand.ready.site, at=hand.wish.at, work=hand.wish.work, finish_by=hand.wish.finish_by,
        done_so_far=told, earlier=hand.plan,
    )  # fmt: skip


@pytest.fixture(scope="module")
def hand():
    return take_in_hand(random_yard(np.random.default_rng(8), 6), at=AT)


@pytest.fixture(scope="module")
def wide():
    return take_in_hand(random_yard(np.random.default_rng(30), 8), at=AT)


def pit():
    """An excavator that is asked for its greasing posture, and a loader."""
    units = [unit(1, "crawler-excavator-22t", 40, 60), unit(2, LOADER, 100, 60)]
    return yard(units, rules=WorkingRules(posture_moves=True))


@pytest.fixture(scope="module")
def pair():
    crew = (technician(), technician("Bo", speed_m_s=1.4))
    return take_in_hand(random_yard(np.random.default_rng(21), 9, technicians=crew), at=AT)


def test_a_round_in_hand_is_the_round(hand):
    assert hand.plan == plan_round(hand.ready.site, at=AT)


@pytest.mark.parametrize("minutes", [0, 8, 15, 30])
@pytest.mark.parametrize("keep", ["order", "free"])
def test_the_rest_is_as_if_prepared_afresh(hand, minutes, keep):
    told = so_far(hand.plan, AT + timedelta(minutes=minutes), keep=keep)
    assert kept(hand, told) is not None
    assert hand.rest(told) == fresh(hand, told)


@pytest.mark.parametrize("minutes", [5, 20])
def test_two_outfits_keep_two_tables_of_walks(pair, minutes):
    told = so_far(pair.plan, AT + timedelta(minutes=minutes))
    ready = kept(pair, told)
    assert len({id(outlook.walks) for outlook in ready.outlooks}) == 2
    assert pair.rest(told) == fresh(pair, told)


@pytest.mark.parametrize("seed", [*range(0, 45, 5), 48])
def test_grounds_and_crews_of_every_kind(seed):
    small = pair_site(seed + 4) if seed % 2 else alone_site(seed)
    wish = small.wish
    hand = take_in_hand(small.site, at=wish.at, work=wish.work, finish_by=wish.finish_by)
    told = so_far(hand.plan, wish.at + timedelta(minutes=4))
    assert kept(hand, told) is not None
    assert hand.rest(told) == fresh(hand, told)


def test_what_is_blocked_is_worked_out_again_and_nothing_else(hand, monkeypatch):
    told = so_far(hand.plan, AT + timedelta(minutes=8))
    stop = next(s for s in hand.plan.technicians[0].stops if s.unit not in told.done_units)
    task = stop.stands[0].fittings[0]
    blocked = BlockedFitting(unit=stop.unit, joint=task.joint, fitting=task.fitting)
    told = told.model_copy(update={"blocked": (blocked,)})
    expected = fresh(hand, told)
    asked = []
    real = kept_units.poses_for

    def noted(works, *args, **terms):
        asked.extend(work.unit.unit for work in works)
        return real(works, *args, **terms)

    monkeypatch.setattr(kept_units, "poses_for", noted)
    assert hand.rest(told) == expected
    assert asked == [stop.unit]


def test_a_unit_partly_booked_is_worked_out_again(hand):
    stop = hand.plan.technicians[0].stops[1]
    joint = stop.stands[0].fittings[0].joint
    told = so_far(hand.plan, AT + timedelta(minutes=3), done=((stop.unit, joint),))
    assert kept(hand, told) is not None
    assert hand.rest(told) == fresh(hand, told)


@pytest.mark.parametrize("what", ["moved", "turned", "gone", "both"])
def test_where_units_moved_or_left_only_what_is_near_is_looked_at_again(wide, what, monkeypatch):
    # Cells are 40 m wide: a neighbour's stands lie 25 m off, out of the change's reach.
    one, two = wide.plan.technicians[0].stops[2].unit, wide.plan.technicians[0].stops[4].unit
    at = {u.unit: u for u in wide.ready.site.units}[one]
    place = MovedUnit(unit=one, x_m=at.x_m + 2.0, y_m=at.y_m - 1.0)
    turned = MovedUnit(unit=one, x_m=at.x_m, y_m=at.y_m, heading_deg=(at.heading_deg + 90) % 360)
    more = {
        "moved": {"moved": (place,)},
        "turned": {"moved": (turned,)},
        "gone": {"gone": (two,)},
        "both": {"moved": (place,), "gone": (two,)},
    }[what]
    told = so_far(wide.plan, AT + timedelta(minutes=8), **more)
    expected = fresh(wide, told)
    asked = []
    real = kept_units.poses_for

    def noted(works, *args, **terms):
        asked.extend(work.unit.unit for work in works)
        return real(works, *args, **terms)

    monkeypatch.setattr(kept_units, "poses_for", noted)
    assert kept(wide, told) is not None
    assert asked == ([] if what == "gone" else [one])
    assert wide.rest(told) == expected


@pytest.mark.parametrize("seed", [11, 25, 30, 34, 39, 48, 53, 60])
def test_units_that_move_on_grounds_of_every_kind(seed):
    small = pair_site(seed) if seed % 2 else alone_site(seed)
    wish = small.wish
    hand = take_in_hand(small.site, at=wish.at, work=wish.work, finish_by=wish.finish_by)
    last = small.site.units[-1]
    moved = MovedUnit(unit=last.unit, x_m=last.x_m + 1.5, y_m=last.y_m + 1.0)
    told = so_far(hand.plan, wish.at + timedelta(minutes=4), moved=(moved,))
    assert kept(hand, told) is not None
    assert hand.rest(told) == fresh(hand, told)


def test_a_unit_that_moved_is_asked_for_the_posture_that_it_was_to_take():
    hand = take_in_hand(pit(), at=AT)
    moved = MovedUnit(unit="U-1", x_m=45, y_m=66, heading_deg=40)
    told = DoneSoFar(at=AT + timedelta(minutes=2), moved=(moved,))
    assert {p.posture for p in kept(hand, told).yard.stances["U-1"]} == {"parked", "greasing"}
    assert hand.rest(told) == fresh(hand, told)


def test_where_a_move_cuts_ground_off_all_is_prepared_anew():
    # A wall with an opening of 3 m; the unit moves into it.
    wall = [box(60, 0, 62, 58.5), box(60, 61.5, 62, 120)]
    site = yard([unit(1, LOADER, 30, 30), unit(2, LOADER, 30, 90), unit(3, LOADER, 120, 60)],
                areas=wall)  # fmt: skip
    hand = take_in_hand(site, at=AT)
    moved = MovedUnit(unit="U-1", x_m=61, y_m=60, heading_deg=90)
    told = DoneSoFar(at=AT + timedelta(minutes=2), moved=(moved,))
    assert kept(hand, told) is None
    rest = hand.rest(told)
    assert rest == fresh(hand, told)
    assert "U-3" in {left.unit for left in rest.left if left.reason.startswith("cut off")}


def test_nothing_is_prepared_where_all_units_stand(hand, monkeypatch):
    def refuse(*_, **__):
        raise AssertionError("prepared anew")

    monkeypatch.setattr(replan, "prepare", refuse)
    assert hand.rest(so_far(hand.plan, AT + timedelta(minutes=8))).technicians


def test_hours_of_closing_that_are_over_leave_another_ground():
    small = pair_site(94)  # a crossing is shut for ten minutes
    assert small.kind.startswith("crossing shut a while")
    hand = take_in_hand(small.site, at=small.wish.at, work=small.wish.work)
    shut_ms, open_ms = hand.ready.yard.begins[1:]
    before, after = (AT + timedelta(milliseconds=ms) for ms in (shut_ms - 1000, open_ms + 1000))
    assert kept(hand, so_far(hand.plan, before)) is not None
    told = so_far(hand.plan, after)
    assert kept(hand, told) is None
    assert hand.rest(told) == fresh(hand, told)


def test_the_ground_stays_closed_in_the_postures_of_the_morning():
    hand = take_in_hand(pit(), at=AT)
    first = hand.plan.technicians[0].stops[0]
    told = so_far(hand.plan, datetime.fromisoformat(first.leave))
    ready = kept(hand, told)
    assert {p.posture for p in ready.yard.stances["U-1"]} == {"parked", "greasing"}
    assert orders_of(hand.rest(told)) == orders_of(fresh(hand, told))


def test_a_change_after_a_change_keeps_to_the_latest_plan(hand):
    early = so_far(hand.plan, AT + timedelta(minutes=8), keep="free")
    second = hand.rest(early)
    late = early.model_copy(update={"at": AT + timedelta(minutes=9), "keep": "order"})
    third = hand.rest(late, earlier=second)
    assert orders_of(third) == orders_of(second)
    assert third.notes[1] == "The order of the earlier plan is kept."


def test_a_wrong_name_is_refused(hand):
    with pytest.raises(UnknownName, match="done so far: technician: 'Ida'"):
        hand.rest(DoneSoFar(at=AT, places={"Ida": (1.0, 1.0)}))
