"""What is written down at each stand."""

from itertools import pairwise

import pytest

from greaseroute.catalogue.shelf import shelf_type
from greaseroute.rounds.planner import plan_round
from greaseroute.rounds.request import RoundRequest
from greaseroute.site.crew import WorkingRules
from tests.rounds.yards import AT, unit, yard


def test_the_second_stand_on_a_deck_is_no_second_climb():
    """The large excavator has two stands on its right deck: 2 x 2.2 m at 0.3 m/s climbed once."""
    plan = plan_round(yard([unit(0, "crawler-excavator-36t", 60, 60)]), RoundRequest(AT))
    stands = plan.technicians[0].stops[0].stands
    pairs = [(a, b) for a, b in pairwise(stands) if a.deck and a.deck == b.deck]
    assert pairs
    for first, second in pairs:
        climb_s = 2 * first.height_m / 0.30
        across_m = ((first.x_m - second.x_m) ** 2 + (first.y_m - second.y_m) ** 2) ** 0.5
        assert first.before[0].startswith(f"climb to the {first.deck}")
        assert first.before_s == pytest.approx(climb_s, abs=0.01)
        assert second.before == (f"stay on the {second.deck}: move along to the next place",)
        assert second.before_s == pytest.approx(across_m / 1.2, abs=0.01)


def test_times_of_a_stop_add_up_with_two_stands_on_one_deck():
    plan = plan_round(yard([unit(0, "crawler-excavator-36t", 60, 60)]), RoundRequest(AT))
    (walk,) = plan.technicians
    (stop,) = walk.stops
    settle_s = 5.0 * sum(bool(s.fittings or s.again) for s in stop.stands)
    pumped_s = sum(f.work_s for s in stop.stands for f in s.fittings)
    before_s = sum(s.before_s for s in stop.stands)
    procedures_s = walk.work_s - stop.isolation_s - settle_s - pumped_s - before_s
    done = {f.joint for stand in stop.stands for f in stand.fittings}
    asked = [shelf_type(stop.type).joint(name).procedure for name in done]
    # A slew is before its stand; every other procedure is done where one greases.
    beside = [p for p in asked if p is not None and not p.stand_clear]
    minutes = sum(p.minutes for p in beside)
    kinds = {p.kind for p in beside if p.moves}  # of each kind one unlocking, one isolation again
    again_s = len(kinds) * (WorkingRules().unlock_s + WorkingRules().isolation_s)
    assert minutes > 0
    assert kinds
    assert procedures_s == pytest.approx(60 * minutes + again_s, abs=0.01)
