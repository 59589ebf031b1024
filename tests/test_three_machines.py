"""The yard everyone knows by heart: its plan worked out by hand."""

import math
from pathlib import Path

import pytest

from greaseroute.plan.round import RoundPlan
from greaseroute.rounds.planner import plan_round
from greaseroute.rounds.request import RoundRequest
from greaseroute.site.folder import read_site
from tests.plan_checks import tasks
from tests.site_maker import write_random_site
from tests.turning import turned_site

YARD = Path(__file__).parent.parent / "sites_demo" / "three_machines"


def _plan(folder: Path) -> RoundPlan:
    site = read_site(folder)
    assert site.planned_for is not None
    return plan_round(site, RoundRequest(site.planned_for))


@pytest.fixture(scope="module")
def plan() -> RoundPlan:
    return _plan(YARD)


def test_metres_and_walking_time(plan: RoundPlan) -> None:
    # The lube box lies at (5, 20), the tool shed at (55, 20). Each machine is 2 m wide with its
    # axis on y = 21.25, so its south side is at 20.25 and, with 0.25 m clearance, one may walk and
    # stand at y = 20. Every fitting is on a south side, 0.25 m from that line, and in reach from
    # it: 0.60 m arm + 0.25 m hose = 0.85 m. So the shortest walk is the straight line:
    # 55 - 5 = 50 m, at 1.25 m/s 40 s.
    (imke,) = plan.technicians
    assert imke.walk_m == pytest.approx(50.0, rel=1e-6)
    assert imke.walk_s == pytest.approx(40.0, abs=0.02)
    assert [stop.unit for stop in imke.stops] == ["BF-1", "RB-1", "BF-2"]


def test_strokes(plan: RoundPlan) -> None:
    # Owed at 05:00 (meter less last service against the interval):
    #   BF-1 1060 h: both pulleys 60 h of 50; take-up slide 1060 - 1052 = 8 h of 10: not yet.
    #   RB-1 never recorded: both crank fittings.
    #   BF-2 2030 h: head pulley 55 h of 50; tail pulley 30 h of 50: not yet; slide 10 h of 10.
    # The gun gives 1.0 cm3 a stroke, so the least dose in cm3 rounded up is the strokes:
    #   head pulley 4.0 -> 4, tail pulley 3.0 -> 3, crank 5.0 -> 5 each, slide 2.5 -> 3.
    pumped = {(unit, t.joint, t.fitting): t.strokes for unit, _, t, _ in tasks(plan)}
    assert pumped == {
        ("BF-1", "tail pulley bearing", "right"): 3,
        ("BF-1", "head pulley bearing", "right"): 4,
        ("RB-1", "crank bearing", "rear"): 5,
        ("RB-1", "crank bearing", "front"): 5,
        ("BF-2", "take-up slide", "right"): 3,
        ("BF-2", "head pulley bearing", "right"): 4,
    }
    assert plan.left == ()


def test_order_along_the_line_and_the_cartridge(plan: RoundPlan) -> None:
    # West to east. The gun starts with 15 strokes in it: 15 - 3 - 4 - 5 = 3 left, and the second
    # crank fitting wants 5: a cartridge goes in before it. It holds
    # floor(400 g x 0.95 / 0.90 g/cm3 / 1.0 cm3) - 3 priming = 422 - 3 = 419 strokes: enough.
    order = [(t.joint, t.fitting, t.cartridge_change) for _, _, t, _ in tasks(plan)]
    assert order == [
        ("tail pulley bearing", "right", False),
        ("head pulley bearing", "right", False),
        ("crank bearing", "rear", False),
        ("crank bearing", "front", True),
        ("take-up slide", "right", False),
        ("head pulley bearing", "right", False),
    ]
    (count,) = plan.cartridges.values()
    assert (count.used, count.reserve, count.carry) == (1, 1, 2)
    assert count.strokes == 3 + 4 + 5 + 5 + 3 + 4


def test_minutes(plan: RoundPlan) -> None:
    # Fittings 0.85 m apart or less from one stand: along the line a stand covers
    # sqrt(0.85^2 - 0.25^2) = 0.812 m to either side. The six fittings due lie at x = 13, 17, 29,
    # 31, 43.5, 47: no two within 2 x 0.812 m, so six stands.
    #   isolation            3 units x 120 s            = 360.00 s
    #   settling at stands   6 x 5 s                    =  30.00
    #   coupling             6 x 8 s                    =  48.00
    #   strokes              24 x 1.5 s                 =  36.00
    #   stooping             the slide at 0.5 m: 1 x    =   2.19
    #   cartridge change     1 x 90 s                   =  90.00
    #                                            work   = 566.19 s
    #   walking              50 m / 1.25 m/s            =  40.00
    #                                            round  = 606.19 s = 10 min 6.19 s
    (imke,) = plan.technicians
    assert imke.work_s == pytest.approx(566.19, abs=0.01)
    assert imke.walk_s + imke.work_s == pytest.approx(606.19, abs=0.02)
    assert imke.start.startswith("2026-03-03T05:00:00")
    assert imke.finish.startswith("2026-03-03T05:10:06")


def test_certificate(plan: RoundPlan) -> None:
    # The part that the route decides: 40 s of walking and 30 s of settling; no walk is shorter.
    assert plan.bound.value_s == pytest.approx(70.0, abs=0.02)
    assert plan.bound.lower_s == pytest.approx(70.0, abs=0.02)
    assert plan.bound.gap_pct == pytest.approx(0.0, abs=0.05)


def _assert_same(turned: RoundPlan, plan: RoundPlan) -> None:
    strokes = {(unit, t.joint, t.fitting): t.strokes for unit, _, t, _ in tasks(plan)}
    assert {(unit, t.joint, t.fitting): t.strokes for unit, _, t, _ in tasks(turned)} == strokes
    metres = [technician.walk_m for technician in plan.technicians]
    for walk_m, technician in zip(metres, turned.technicians, strict=True):
        assert math.isclose(technician.walk_m, walk_m, rel_tol=1e-6)


def test_turned_and_moved_yard_gives_the_same_plan(plan: RoundPlan, tmp_path: Path) -> None:
    there = turned_site(YARD, tmp_path / "there", turn_deg=37.0, move_m=(8_000.0, 6_000.0))
    _assert_same(_plan(there), plan)


@pytest.mark.parametrize("seed", [3, 11, 29])
def test_turned_and_moved_random_yards(seed: int, tmp_path: Path) -> None:
    here = write_random_site(tmp_path / "here", seed)
    there = turned_site(here, tmp_path / "there", turn_deg=37.0, move_m=(8_000.0, 6_000.0))
    _assert_same(_plan(there), _plan(here))
