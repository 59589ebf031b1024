"""The rest of a round: planned from what is booked, refused where a name is wrong."""

from datetime import datetime, timedelta

import numpy as np
import pytest
from shapely.geometry import box

from greaseroute.errors import UnknownName
from greaseroute.replan.rest import plan_rest
from greaseroute.replan.so_far import DoneSoFar, MovedUnit, orders_of
from greaseroute.rounds.planner import plan_round
from greaseroute.rounds.request import RoundRequest
from tests.rounds.yards import AT, random_yard, unit, yard

LOADER = "wheel-loader-20t"
REQUEST = RoundRequest(AT)


def so_far(plan, at, **more):
    """Everybody stands where the last stop done at a moment ended, and it is all booked."""
    places, done = {}, []
    for walk in plan.technicians:
        for stop in walk.stops:
            if datetime.fromisoformat(stop.leave) <= at and not stop.reload:
                done.append(stop.unit)
                places[walk.name] = stop.inside[-1]
    return DoneSoFar(**{"at": at, "places": places, "done_units": tuple(done), **more})


@pytest.fixture(scope="module")
def site():
    return random_yard(np.random.default_rng(8), 6)


@pytest.fixture(scope="module")
def morning(site):
    return plan_round(site, REQUEST)


@pytest.mark.parametrize("minutes", [0, 8, 15, 30])
def test_nothing_changed_so_the_order_stays(site, morning, minutes):
    told = so_far(morning, AT + timedelta(minutes=minutes))
    rest = plan_rest(site, REQUEST, told, earlier=morning)
    open_ = [
        [unit for unit in order if unit not in told.done_units]
        for order in orders_of(morning).values()
    ]
    assert list(map(list, orders_of(rest).values())) == open_


def test_where_a_move_cuts_ground_off_the_rest_says_so():
    # A wall with an opening of 3 m; the unit moves into it.
    wall = [box(60, 0, 62, 58.5), box(60, 61.5, 62, 120)]
    site = yard([unit(1, LOADER, 30, 30), unit(2, LOADER, 30, 90), unit(3, LOADER, 120, 60)],
                areas=wall)  # fmt: skip
    morning = plan_round(site, REQUEST)
    moved = MovedUnit(unit="U-1", x_m=61, y_m=60, heading_deg=90)
    told = DoneSoFar(at=AT + timedelta(minutes=2), moved=(moved,))
    rest = plan_rest(site, REQUEST, told, earlier=morning)
    assert "U-3" not in {left.unit for left in morning.left if left.reason.startswith("cut off")}
    assert "U-3" in {left.unit for left in rest.left if left.reason.startswith("cut off")}


def test_a_change_after_a_change_keeps_to_the_latest_plan(site, morning):
    early = so_far(morning, AT + timedelta(minutes=8), keep="free")
    second = plan_rest(site, REQUEST, early, earlier=morning)
    late = early.model_copy(update={"at": AT + timedelta(minutes=9), "keep": "order"})
    third = plan_rest(site, REQUEST, late, earlier=second)
    assert orders_of(third) == orders_of(second)
    assert third.notes[1] == "The order of the earlier plan is kept."


def test_a_wrong_name_is_refused(site, morning):
    told = DoneSoFar(at=AT, places={"Ida": (1.0, 1.0)})
    with pytest.raises(UnknownName, match="done so far: technician: 'Ida'"):
        plan_rest(site, REQUEST, told, earlier=morning)
