import numpy as np
import pytest
import shapely
from shapely.geometry import Polygon, box

from greaseroute.site.reach import Reach
from greaseroute.stands.candidates import unit_stands, wanted_fittings
from greaseroute.stands.grid import fine_grid, finest_grid, wholly_hidden
from greaseroute.stands.reach import serves, stack_hulls
from tests.stands.boxes import deck, fitting, look, machine, solid

REACH = Reach(arm_m=0.6)
HOSE = 0.25
CLEARANCE = 0.25
YARD = box(-20, -20, 20, 20)


def stands_of(placed, *, looks=(), also_closed=(), reach=REACH):
    closed = [placed.outline]
    free = YARD.difference(shapely.union_all([*closed, *also_closed]).buffer(CLEARANCE))
    hoses = {(f.joint.name, f.fitting.name): HOSE for f in placed.fittings}
    wanted = wanted_fittings(placed, hoses, looks=looks)
    return unit_stands(placed, wanted, closed=closed, free=free, clearance_m=CLEARANCE, reach=reach)


BODY = solid((-3.0, -1.0, 0.0), (3.0, 1.0, 2.5))


def test_every_stand_is_off_the_clearance_and_within_arm_and_hose():
    found = stands_of(machine([BODY], [fitting("pin", (0.0, 1.0, 1.0))]))
    assert found.out_of_reach == ()
    for stand in found.stands:
        # the body's left side is y = 1: feet at y >= 1.25 and at most 0.85 m from the fitting
        assert stand.y_m >= 1.25
        assert np.hypot(stand.x_m, stand.y_m - 1.0) <= 0.85 + 1e-9
        assert (stand.serves, stand.bands, stand.climb_s) == ((0,), ("stand",), 0.0)


def test_a_fitting_too_deep_under_the_body_says_how_much_the_arm_lacks():
    # 0.703 m in from the side + 0.25 m clearance - 0.85 m reach = 0.103 m
    found = stands_of(
        machine([solid((-3, -1, 0.9), (3, 1, 2.5))], [fitting("pin", (0.0, 0.297, 1.0))])
    )
    assert [o.reason for o in found.out_of_reach] == ["arm 0.10 m too short"]


def test_a_fitting_over_reach_says_how_much_it_is_too_high():
    found = stands_of(machine([BODY], [fitting("pin", (0.0, 1.0, 2.15))]))
    assert [o.reason for o in found.out_of_reach] == ["0.35 m too high from the ground"]
    assert found.stands == ()


def test_a_deck_brings_the_high_fitting_into_reach_and_costs_the_climb():
    left = deck("left deck", box(-0.5, 0.5, 0.5, 1.0), 1.2, (0.0, 1.1))
    found = stands_of(machine([BODY], [fitting("pin", (0.0, 0.9, 2.55))], decks=[left]))
    # up and down 1.2 m at 0.30 m/s: 2 x 4 = 8 s; the walk ends at free ground before the steps
    assert {(s.deck, s.climb_s) for s in found.stands} == {("left deck", 8.0)}
    assert all(s.foot_m == pytest.approx((0.0, 1.25), abs=1e-5) for s in found.stands)
    assert all(s.bands == ("stand",) for s in found.stands)


def test_a_deck_is_not_climbed_for_what_the_ground_serves():
    left = deck("left deck", box(-0.5, 0.5, 0.5, 1.0), 0.5, (0.0, 1.1))
    found = stands_of(machine([BODY], [fitting("pin", (0.0, 1.0, 1.4))], decks=[left]))
    assert {s.deck for s in found.stands} == {None}


def test_a_fitting_behind_another_part_is_hidden_by_that_part():
    # a plate 0.1 m before the fitting, as wide as the arm reaches, higher than any line to it
    plate = solid((-1.2, 1.19, 0.0), (1.2, 1.2, 2.0), link="guard")
    recess = solid((-3, -1, 0.0), (3, 0.7, 2.5))
    found = stands_of(machine([recess, plate], [fitting("pin", (0.0, 0.95, 1.0))]))
    assert [o.reason for o in found.out_of_reach] == ["hidden behind guard"]


# Two plates 0.2 m thick, 0.2 m before the fitting, with a slit of 10 mm: it is seen at slopes of
# 0.006 / 0.2 to 0.016 / 0.4 alone. Feet 0.65 to 0.85 m off find a strip of 6.5 to 8.5 mm.
SLIT = (
    solid((-3, -1, 0.0), (3, 0.7, 2.5)),
    solid((-1.2, 0.9, 0.0), (0.006, 1.1, 2.0), link="left plate"),
    solid((0.016, 0.9, 0.0), (1.2, 1.1, 2.0), link="right plate"),
)
BEHIND_IT = fitting("pin", (0.0, 0.7, 1.0))


def test_a_fitting_seen_through_a_slit_is_not_hidden():
    found = stands_of(machine(SLIT, [BEHIND_IT]))
    assert found.out_of_reach == ()
    for stand in found.stands:
        assert 0.03 - 1e-3 <= stand.x_m / (stand.y_m - 0.7) <= 0.04 + 1e-3


def test_what_is_told_as_wholly_hidden_is_seen_from_no_place_of_the_finest_grid():
    """Behind the slit, and behind plates put up at random; few squares are left to look at."""
    rng = np.random.default_rng(5)
    scenes = [SLIT]
    for _ in range(20):
        low = rng.uniform((-0.6, 0.8, 0.0), (0.3, 1.0, 1.0), (4, 3))
        scenes.append((SLIT[0], *(solid(a, a + rng.uniform(0.02, 0.5, 3)) for a in low)))
    shares = []
    for solids in scenes:
        placed = machine(solids, [BEHIND_IT])
        (wanted,) = wanted_fittings(placed, {("pin", "1"): HOSE})
        goal, hulls = np.asarray([wanted.at_m]), stack_hulls(placed.solids)
        fine = fine_grid(placed.pose, goal, within_m=0.85)
        hidden = wholly_hidden(fine, wanted, hulls=hulls, reach=REACH)
        spots = finest_grid(placed.pose, fine[hidden])
        flat = np.column_stack([spots, np.zeros(len(spots))])
        assert not serves(flat, goal, hulls=hulls, reach=REACH, hose_m=np.asarray([HOSE])).any()
        shares.append(hidden.mean())
    assert shares[0] > 0.7
    assert min(shares) > 0.3


def test_a_neighbour_parked_too_close_leaves_no_stand_on_that_side():
    fittings = [fitting("left pin", (0.0, 1.0, 1.0)), fitting("right pin", (0.0, -1.0, 1.0))]
    found = stands_of(machine([BODY], fittings), also_closed=[box(-4, 1.4, 4, 4)])
    assert [o.wanted.joint for o in found.out_of_reach] == ["left pin"]
    assert {s.serves for s in found.stands} == {(1,)}


def test_no_ground_at_all_is_said_so():
    found = stands_of(machine([BODY], [fitting("pin", (0.0, 1.0, 1.0))]), also_closed=[YARD])
    assert [o.reason for o in found.out_of_reach] == ["no free ground beside it"]


def test_two_fittings_close_together_share_stands_and_single_ones_there_are_dropped():
    fittings = [fitting("a", (0.0, 1.0, 1.0)), fitting("b", (0.6, 1.0, 1.0))]
    found = stands_of(machine([BODY], fittings))
    # 0.6 m apart, reach 0.85 m: every place that serves one is within 1.5 m of one serving both
    assert {s.serves for s in found.stands} == {(0, 1)}


def test_fittings_at_both_ends_need_two_stands():
    fittings = [fitting("front", (3.0, 0.0, 1.0)), fitting("rear", (-3.0, 0.0, 1.0))]
    found = stands_of(machine([BODY], fittings))
    assert {s.serves for s in found.stands} == {(0,), (1,)}


def test_look_points_are_read_from_the_same_places():
    placed = machine(
        [BODY], [fitting("pin", (0.0, 1.0, 1.0))], looks=[look("coolant", (1.2, 1.0, 1.8))]
    )
    found = stands_of(placed, looks=["coolant"])
    assert (0, 1) in {s.serves for s in found.stands}
    assert stands_of(placed).wanted[0].joint == "pin"
    assert len(stands_of(placed).wanted) == 1


@pytest.mark.parametrize("turn_deg", [37.0, 123.4])
def test_a_turned_and_moved_site_gives_the_same_stands_turned_and_moved(turn_deg):
    heading = np.radians(turn_deg)
    fwd, left = (
        np.array([np.sin(heading), np.cos(heading)]),
        np.array([-np.cos(heading), np.sin(heading)]),
    )

    def moved(point):
        return np.array([10_000.0, -3_000.0]) + point[0] * fwd + point[1] * left

    def on_site(turn):
        put = moved if turn else np.asarray
        pins = [(3.0, 0.3, 1.0), (0.4, 1.0, 0.5), (-1.0, -1.0, 0.2), (-1.7, -1.0, 1.6)]
        outline = Polygon([put(p) for p in [(-3, -1), (3, -1), (3, 1), (-3, 1)]])
        yard = Polygon([put(p) for p in [(-20, -20), (20, -20), (20, 20), (-20, 20)]])
        placed = machine(
            [],
            [fitting(str(i), (*map(float, put(p[:2])), p[2])) for i, p in enumerate(pins)],
            turn=turn,
        )
        if turn:
            from greaseroute.catalogue.kinematics.placed import Pose

            object.__setattr__(placed, "pose", Pose(10_000.0, -3_000.0, turn))
        else:
            from greaseroute.catalogue.kinematics.placed import Pose

            object.__setattr__(placed, "pose", Pose(0.0, 0.0, 90.0))
        wanted = wanted_fittings(placed, {(str(i), "1"): HOSE for i in range(4)})
        free = yard.difference(outline.buffer(CLEARANCE))
        return unit_stands(
            placed, wanted, closed=[outline], free=free, clearance_m=CLEARANCE, reach=REACH
        ).stands

    plain, turned = on_site(0.0), on_site(turn_deg)
    assert len(plain) == len(turned) > 4
    for a, b in zip(plain, turned, strict=True):
        assert a.serves == b.serves
        assert moved((a.x_m, a.y_m)) == pytest.approx((b.x_m, b.y_m), abs=1e-6)
