"""What an arm gets to: places on a fine grid, fences, the gun with the longer hose."""

from dataclasses import replace

from shapely.geometry import LineString

from greaseroute.rounds.planner import plan_round
from greaseroute.rounds.request import RoundRequest
from greaseroute.site.crew import WorkingRules
from greaseroute.site.ground_plan import Barrier, Gate
from greaseroute.site.reach import Reach
from greaseroute.visits.work import NOT_FROM_GROUND
from tests.rounds.yards import AT, GUNS, technician, unit, yard

STILL = WorkingRules(posture_moves=False)


def left(site, work=None):
    return {(x.joint, x.fitting): x.reason for x in plan_round(site, RoundRequest(AT, work)).left}


def test_a_fitting_is_not_hidden_where_a_place_between_the_sampled_ones_serves_it():
    """The yoke of the grader's right blade lift cylinder is seen from a strip of 0.2 m alone."""
    missed = left(yard([unit(0, "grader-18t", 60, 60)], rules=STILL))
    assert set(missed.values()) <= {NOT_FROM_GROUND}  # its shaft takes a pit
    assert not any("blade lift cylinder" in joint for joint, _ in missed)


def arms(site):
    """(place, fitting) of everything that is pumped from the ground."""
    return [
        ((s.x_m, s.y_m), f.at_m[:2])
        for t in plan_round(site, RoundRequest(AT)).technicians
        for stop in t.stops
        for s in stop.stands
        for f in s.fittings
        if s.deck is None
    ]


def parted(site, pairs):
    fence = site.ground.barriers[0].line_string
    return [pair for pair in pairs if LineString(pair).intersects(fence)]


def with_fence(site, **changes):
    (fence,) = site.ground.barriers
    return replace(site, ground=replace(site.ground, barriers=(replace(fence, **changes),)))


def test_a_hose_is_chosen_once_it_is_known_what_reaches():
    """An arm of 0.3 m, no hose: a second plain gun with 0.75 m of hose serves what is too far."""
    short = technician(reach=Reach(arm_m=0.3))
    bare = tuple(gun.model_copy(update={"hose_m": 0.0}) for gun in GUNS)
    site = yard(
        [unit(0, "crawler-dozer-20t", 60, 60)], rules=STILL, technicians=(short,), guns=bare
    )
    far = {key for key, reason in left(site).items() if reason.startswith("arm")}
    assert far
    long = GUNS[0].model_copy(update={"name": "long lever", "hose_m": 0.754})
    both = (short.model_copy(update={"guns": ("lever", "second", "long lever")}),)
    more = replace(site, guns=(*bare, long), technicians=both)
    plan = plan_round(more, RoundRequest(AT))
    used = {
        (f.joint, f.fitting): f.gun
        for t in plan.technicians
        for stop in t.stops
        for s in stop.stands
        for f in s.fittings
    }
    reached = {key for key, gun in used.items() if gun == "long lever"}
    assert reached
    assert all(key in far or (key[0], None) in far for key in reached)


def test_a_longer_hose_counts_in_a_posture_that_is_asked_for_as_well():
    """With the boom up nothing of the spreader is greased; lowered, the bare gun is too short."""
    short = technician(reach=Reach(arm_m=0.5))
    plain, moly = (gun.model_copy(update={"hose_m": 0.0}) for gun in GUNS)
    up = [unit(0, "reach-stacker-70t", 60, 60, posture="raised")]
    moves = WorkingRules(posture_moves=True)
    bare = yard(up, rules=moves, technicians=(short,), guns=(plain, moly))
    long = plain.model_copy(update={"hose_m": 0.75})
    longer = replace(bare, guns=(long, moly))
    fewer = set(left(bare)) - set(left(longer))
    assert any(joint == "spreader yoke" for joint, _ in fewer)


def test_another_grease_that_suits_goes_before_a_joint_left_out():
    """The gun with the grease that is preferred has no hose; the other one suits and reaches."""
    short = technician(reach=Reach(arm_m=0.3))
    plain, moly = (gun.model_copy(update={"hose_m": 0.0}) for gun in GUNS)
    machine = [unit(0, "wheel-loader-20t", 60, 60)]
    bare = yard(machine, rules=STILL, technicians=(short,), guns=(plain, moly))
    liked = {j.name for j in bare.machine(bare.units[0]).joints if j.grease.prefers_moly}
    far = {key for key, why in left(bare).items() if why.startswith("arm") and key[0] in liked}
    assert far
    long = plain.model_copy(update={"hose_m": 0.75})
    longer = replace(bare, guns=(long, moly))
    assert not far & set(left(longer))
    guns = {
        (f.joint, f.gun)
        for t in plan_round(longer, RoundRequest(AT)).technicians
        for stop in t.stops
        for s in stop.stands
        for f in s.fittings
        if f.joint in liked
    }
    assert {gun for _, gun in guns} == {"lever", "second"}  # the preferred one where it reaches


def test_nobody_greases_through_a_fence_but_by_a_gate_over_a_low_one_or_by_the_rule():
    """A post fence right in front of one fitting, put where the arm goes without it."""
    site = yard([unit(0, "wheel-loader-20t", 60, 60)], rules=STILL)
    place, goal = next(p for p in arms(site) if abs(p[0][0] - p[1][0]) > 0.2)
    middle = ((place[0] + goal[0]) / 2, (place[1] + goal[1]) / 2)
    line = LineString([(middle[0], middle[1] - 0.05), (middle[0], middle[1] + 0.05)])
    ground = replace(site.ground, barriers=(Barrier("rail", line),))
    shut = replace(site, ground=ground)
    assert not parted(shut, arms(shut))
    low = with_fence(shut, low=True)
    assert parted(low, arms(low))
    gate = replace(shut, ground=replace(ground, gates=(Gate("gate", line),)))
    loose = replace(shut, rules=STILL.model_copy(update={"reach_through_barriers": True}))
    assert len(arms(low)) == len(arms(loose)) == len(arms(gate)) == len(arms(site))
