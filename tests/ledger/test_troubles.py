"""What the record tells of a joint beside its last service, and when it is over."""

from datetime import UTC, datetime, timedelta

import pytest

from greaseroute.ledger.events import (
    CouldNot,
    DefectSeen,
    Greased,
    PlanHandedOut,
    Repaired,
    UptakeSeen,
)
from greaseroute.ledger.planned import PlannedFitting, PlannedStop, PlannedWalk
from greaseroute.ledger.troubles import Book, takes_more, troubles_of

MONDAY = datetime(2026, 10, 12, 4, 30, tzinfo=UTC)
PIN = {"unit": "EX-01", "joint": "bucket pin", "fitting": "left"}


def day(number):
    return MONDAY + timedelta(days=number)


def greased(number, strokes=4, **more):
    return Greased(id=f"g{number}", at=day(number), strokes=strokes, **{**PIN, **more})


def could_not(number, reason="does not take grease"):
    return CouldNot(id=f"n{number}", at=day(number), reason=reason, **PIN)


def plan(number):
    fitting = PlannedFitting(joint="bucket pin", fitting="left", strokes=4, grease="g", gun="l")
    stop = PlannedStop(unit="EX-01", arrive_s=0, leave_s=60, fittings=(fitting,))
    walk = PlannedWalk(technician="Oda", stops=(stop,))
    return PlanHandedOut(
        id=f"p{number}", at=day(number), plan=f"p{number}", site="Quarry", walks=(walk,)
    )


def told(*events, at=20):
    return [(t.kind, t.text) for t in troubles_of(Book(events, at=day(at), zone=UTC))]


def test_blocked_until_it_is_greased_or_mended():
    blocked = ("blocked", "does not take grease since 2026-10-13: for the workshop")
    assert told(greased(0), could_not(1)) == [blocked]
    assert told(greased(0), could_not(1), could_not(2)) == [
        ("blocked", "does not take grease since 2026-10-13, 2 times: for the workshop")
    ]
    assert told(greased(0), could_not(1), greased(3)) == []
    mended = Repaired(id="r", at=day(2), unit="EX-01")
    assert told(greased(0), could_not(1), mended) == []
    assert told(greased(0), could_not(1), mended, could_not(4)) == [
        ("blocked", "does not take grease since 2026-10-16: for the workshop")
    ]


def test_no_time_is_no_blockage_and_refused_grease_is_one():
    assert told(greased(0), could_not(1, "no time")) == []
    refused = UptakeSeen(id="u", at=day(1), uptake="refused grease", **PIN)
    assert told(refused) == [("blocked", "refused grease since 2026-10-13: for the workshop")]


def test_skipped_on_two_mornings_or_more():
    assert told(greased(0), plan(1)) == []
    two = (greased(0), plan(1), could_not(1, "no time"), plan(2))
    assert told(*two) == [
        ("skipped", "on 2 cards since 2026-10-13 and not done (no time: 1)"),
    ]
    assert told(*two, greased(3)) == []
    # Two plans of one morning are one morning.
    again = plan(1).model_copy(update={"id": "p1b", "plan": "p1b"})
    assert told(greased(0), plan(1), again) == []


@pytest.mark.parametrize(
    ("strokes", "more"),
    [
        ([4, 4, 6, 7], True),
        ([4, 4, 4, 4, 6, 8], True),
        ([4, 4, 5, 5], False),  # a quarter more
        ([4, 9, 4, 4], False),  # once
        ([4, 4, 8, 6], False),  # falling again
        ([4, 6, 8], False),  # too few to tell
    ],
)
def test_takes_more_from_service_to_service(strokes, more):
    assert takes_more(strokes) is more
    events = [greased(k, each) for k, each in enumerate(strokes)]
    assert [kind for kind, _ in told(*events)] == ["takes more"] * more


def test_a_defect_stays_until_it_is_mended():
    leak = DefectSeen(id="d", at=day(1), defect="leak", words="rod seal", **PIN)
    assert told(leak) == [("defect", "leak (rod seal) seen on 2026-10-13")]
    assert told(leak, greased(2)) == [("defect", "leak (rod seal) seen on 2026-10-13")]
    assert told(leak, Repaired(id="r", at=day(3), unit="EX-01", joint="bucket pin")) == []
    assert told(leak, Repaired(id="r", at=day(3), unit="EX-01", joint="boom")) != []


def test_nothing_of_tomorrow_counts():
    assert told(could_not(5), at=4) == []
