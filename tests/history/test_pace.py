"""Pace from cards, by hand: the time between two ticks less what was planned between them."""

from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from greaseroute.history.pace import pace_found, walk_samples
from greaseroute.ledger.events import Greased, PaceTaken, PlanHandedOut
from greaseroute.ledger.planned import PlannedFitting, PlannedStop, PlannedWalk
from greaseroute.site.folder import read_site

YARD = Path(__file__).parent.parent.parent / "sites_demo" / "three_machines"
BEGUN = datetime(2026, 3, 3, 5, tzinfo=UTC)
JOINTS = ("head pulley bearing", "tail pulley bearing", "take-up slide")


def _fitting(joint, work_s):
    return PlannedFitting(
        joint=joint, fitting="right", strokes=4, grease="g", gun="lever gun", work_s=work_s
    )


# Two machines, three fittings of 20, 30 and 10 s each. The first stop ends at 200 s, the second
# begins at 240 s and ends at 340 s: 40 s of walking and 40 s of isolating lie between.
WALK = PlannedWalk(
    technician="Imke",
    stops=(
        PlannedStop(unit="BF-1", arrive_s=100, leave_s=200,
                    fittings=tuple(map(_fitting, JOINTS, (20, 30, 10)))),
        PlannedStop(unit="BF-2", arrive_s=240, leave_s=340,
                    fittings=tuple(map(_fitting, JOINTS, (20, 30, 10)))),
    ),
)  # fmt: skip
KINDS = {(u, j): "slide" if j == JOINTS[2] else "bearing" for u in ("BF-1", "BF-2") for j in JOINTS}


def at(seconds):
    return BEGUN + timedelta(seconds=seconds)


def _samples(*ticked):
    return [(s.kinds, round(s.share, 3)) for s in walk_samples(WALK, ticked, kinds=KINDS)]


def test_each_fitting_ticked_on_its_own():
    # Planned done at 160, 190, 200: 30 s and 10 s after one another. It took 45 and 20 s.
    found = _samples((at(160), (0, 0)), (at(205), (0, 1)), (at(225), (0, 2)))
    assert found == [(("bearing",), 1.5), (("slide",), 2.0)]


def test_a_whole_stop_at_one_minute():
    # From the end of the first stop to that of the second: 140 s planned, 60 s of it on fittings.
    # 200 s were taken: 120 s of them on the fittings, twice as long.
    stops = [(at(200), (0, k)) for k in range(3)] + [(at(400), (1, k)) for k in range(3)]
    assert _samples(*stops) == [(("bearing", "bearing", "slide"), 2.0)]


def test_breaks_and_another_order_tell_nothing():
    assert _samples((at(160), (0, 0)), (at(2000), (0, 1))) == []
    assert _samples((at(160), (0, 1)), (at(200), (0, 0))) == []
    assert _samples((at(160), (0, 0)), (at(161.5), (0, 1))) == []  # ticked together, later


def _card(number, *, share=1.5, plan_at=None):
    """A plan and its card on which every fitting took ``share`` of its time."""
    begun = plan_at or at(86_400 * number)
    plan = PlanHandedOut(id=f"p{number}", at=begun, plan=f"p{number}", site="s", walks=(WALK,))
    clock, events = begun + timedelta(seconds=160), []
    for s, stop in enumerate(WALK.stops):
        clock += timedelta(seconds=80) if s else timedelta()
        for k, fitting in enumerate(stop.fittings):
            clock += timedelta(seconds=share * fitting.work_s) if (s, k) != (0, 0) else timedelta()
            events.append(
                Greased(id=f"e{number}-{s}-{k}", at=clock, unit=stop.unit, joint=fitting.joint,
                        fitting="right", plan=f"p{number}", technician="Imke", strokes=4)
            )  # fmt: skip
    return [plan, *events]


@pytest.fixture(scope="module")
def site():
    return read_site(YARD)


def test_count_and_spread_and_when_it_is_offered(site):
    few = [e for k in range(4) for e in _card(k, share=(1.2, 1.4, 1.6, 1.8)[k])]
    found = {p.joint_kind: p for p in pace_found(few, site)}
    assert found["bearing"].count == 12  # three of four bearings a card: the first begins the clock
    assert found["bearing"].share == pytest.approx(1.5)
    assert (found["bearing"].low, found["bearing"].high) == pytest.approx((1.35, 1.65))
    assert not found["bearing"].offered
    many = [e for k in range(10) for e in _card(k)]
    bearing = next(p for p in pace_found(many, site) if p.joint_kind == "bearing")
    assert (bearing.offered, bearing.share, bearing.now) == (True, pytest.approx(1.5), 1.0)
    assert bearing.planned_min == pytest.approx(10 * 80 / 60, abs=0.06)
    assert bearing.actual_min == pytest.approx(10 * 120 / 60, abs=0.06)


def test_plans_made_by_an_agreed_pace_are_brought_back(site):
    # Agreed to 1.5 before the plans: their times hold it, and 1.0 of them is 1.5 of the plain time.
    agreed = PaceTaken(
        id="a", at=at(-60), technician="Imke", joint_kind="bearing", share=1.5, count=20,
        low=1.4, high=1.6,
    )  # fmt: skip
    events = [agreed, *(e for k in range(8) for e in _card(k, share=1.0))]
    found = {p.joint_kind: p for p in pace_found(events, site)}
    assert (found["bearing"].share, found["bearing"].now) == (pytest.approx(1.5), 1.5)
    assert (found["slide"].share, found["slide"].now) == (pytest.approx(1.0), 1.0)


def test_a_unit_with_an_attachment_of_the_shelf_has_a_pace_too():
    quarry = read_site(YARD.parent / "quarry_ruttersby")
    assert any(unit.attachments for unit in quarry.units)
    assert pace_found([], quarry) == ()
