"""The short receipt: what goes in comes out, and what was changed on the way is refused."""

import random
import re
import zlib
from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from greaseroute.ledger.card_file import CardEntry, CardFile, CardMeter, report_of
from greaseroute.ledger.events import PlanHandedOut
from greaseroute.ledger.packing import CutOff, Packer, Unpacker, folded, unfolded
from greaseroute.ledger.planned import PlannedFitting, PlannedStop, PlannedWalk
from greaseroute.ledger.receipt import (
    AS_PLANNED,
    COULD_NOT,
    DEFECTS,
    OTHERWISE,
    REASONS,
    Ticked,
    WalkTold,
    find_receipt,
    receipt_text,
    unpacked,
)
from greaseroute.ledger.receipt_report import read_receipt
from greaseroute.ledger.report import state_of

BEGUN = datetime(2026, 10, 13, 4, 0, tzinfo=UTC)
PLAN_ID = "0123456789abcdef"


def plan_of(stops, *, begun=BEGUN):
    """A plan of one walk; ``stops`` are (fittings, checks) counts."""
    walk = tuple(
        PlannedStop(
            unit=f"U-{k}",
            arrive_s=600.0 * k,
            leave_s=600.0 * k + 500,
            fittings=tuple(
                PlannedFitting(joint=f"joint {n}", fitting="left", strokes=4, grease="EP 2",
                               gun="lever", put_in=int(n == 3))
                for n in range(fittings)
            ),
            checks=tuple(f"check {n}" for n in range(checks)),
        )
        for k, (fittings, checks) in enumerate(stops)
    )  # fmt: skip
    walks = (PlannedWalk(technician="Jarle", stops=()), PlannedWalk(technician="Oda", stops=walk))
    return PlanHandedOut(id=f"plan-{PLAN_ID}", at=begun, plan=PLAN_ID, site="Quarry", walks=walks)


def told_of(plan, ticked, *, minutes, meters, told_min=150):
    stops = plan.walks[1].stops
    count = sum(len(stop.fittings) for stop in stops)
    return WalkTold(
        plan=PLAN_ID,
        walk=1,
        device="a1b2",
        told_min=told_min,
        fittings=tuple(ticked[:count]),
        checks=tuple(ticked[count:]),
        minutes=tuple(minutes),
        meters=tuple(meters),
    )


def some_ticks(rng, count, exceptions):
    """Everything done but ``exceptions`` of them, which are told in all the ways there are."""
    ticked = [Ticked(AS_PLANNED)] * count
    for place in rng.sample(range(count), exceptions):
        ticked[place] = rng.choice(
            [
                Ticked(OTHERWISE, strokes=rng.randrange(20)),
                Ticked(COULD_NOT, reason=rng.choice(REASONS)),
                Ticked(COULD_NOT, reason="other", words="hose across it"),
                Ticked(AS_PLANNED, defect=rng.choice(DEFECTS)),
                Ticked(OTHERWISE, strokes=9, took_too_much=True, defect="leak", found="seal"),
            ]
        )
    return ticked


def test_what_goes_in_comes_out():
    rng = random.Random(1)
    plan = plan_of([(9, 2)] * 12)
    told = told_of(
        plan,
        some_ticks(rng, 12 * 11, 30),
        minutes=[None, 3, 15, 9, *range(20, 28)],
        meters=[(6695.8, False), None, (0.0, True), *[(k + 0.1, False) for k in range(9)]],
    )
    assert unpacked(receipt_text(told)) == told


def test_it_tells_what_the_file_of_the_same_card_tells():
    plan = plan_of([(4, 1), (2, 0)])
    ticked = [
        Ticked(AS_PLANNED),
        Ticked(OTHERWISE, strokes=7, took_too_much=True),
        Ticked(COULD_NOT, reason="other", words="hose across it"),
        Ticked(AS_PLANNED, defect="leak", found="rod seal"),
        Ticked(),
        Ticked(AS_PLANNED),
        Ticked(OTHERWISE, found="low"),
    ]
    told = told_of(plan, ticked, minutes=[6, 17], meters=[(100.5, False), (77.0, True)])
    report, faults = read_receipt(f"from Oda: {receipt_text(told)} done", "text", lambda _: plan)
    assert faults == []
    at = {k: BEGUN + timedelta(minutes=k) for k in (6, 17)}
    first = {"technician": "Oda", "unit": "U-0", "fitting": "left", "at": at[6]}
    pumped = {"grease": "EP 2", "gun": "lever", "planned_strokes": 4, "strokes": 4, "done": True}
    second = {**first, "unit": "U-1", "at": at[17]}
    entries = [
        {**first, **pumped, "joint": "joint 0"},
        {**first, **pumped, "joint": "joint 1", "strokes": 7, "uptake": "took too much"},
        {**first, "joint": "joint 2", "done": False, "reason": "other", "words": "hose across it"},
        {**first, **pumped, "joint": "joint 3", "put_in": 1, "defect": "leak", "found": "rod seal"},
        {**second, **pumped, "joint": "joint 1"},
        {"technician": "Oda", "unit": "U-0", "at": at[6], "look": "check 0", "done": True,
         "found": "low"},
    ]  # fmt: skip
    file = CardFile(
        format="greaseroute card 2",
        round=PLAN_ID,
        site="Quarry",
        planned_for=BEGUN,
        exported_at=BEGUN + timedelta(minutes=150),
        technician="Oda",
        device="a1b2",
        events=tuple(CardEntry(id=f"e{k}", **e) for k, e in enumerate(entries)),
        meters=(
            CardMeter(unit="U-0", meter_h=100.5, at=at[6]),
            CardMeter(unit="U-1", meter_h=77.0, at=at[17], sure=True),
        ),
    )
    other = report_of(file, "text")
    assert [state_of(e) for e in report.events] == [state_of(e) for e in other.events]
    assert [e.at for e in report.events] == [e.at for e in other.events]
    assert (report.told_at, report.device) == (other.told_at, other.device)


def test_a_long_walk_takes_some_four_hundred_letters():
    # 274 fittings at 24 stops with a meter each: 69 bytes of states, 24 of minutes, 97 of meters.
    plan = plan_of([(12, 0)] * 10 + [(11, 0)] * 14)
    ticked = [Ticked(AS_PLANNED)] * 274
    for place in range(0, 270, 14):
        ticked[place] = Ticked(COULD_NOT, reason=REASONS[place % 7])
    meters = [(6695.8 + k, False) for k in range(24)]
    told = told_of(plan, ticked, minutes=range(3, 147, 6), meters=meters)
    assert sum(each.state == COULD_NOT for each in told.fittings) == 20
    assert 350 < len(receipt_text(told)) < 450


def test_layout_by_hand():
    # Two fittings done, one stop left in minute 6 (folded 12, plus 1 = 13), the meter at 12.3 h
    # (2 x 123 = 246 = 0b1_1110110: 0xF6 0x01), told in minute 7 (folded 14), on phone a1b2.
    plan = plan_of([(2, 0)])
    told = told_of(plan, [Ticked(AS_PLANNED)] * 2, minutes=[6], meters=[(12.3, False)], told_min=7)
    body = bytes.fromhex(PLAN_ID) + bytes(
        [1, 0xA1, 0xB2, 14, 2, 0, 1, 0b0101, 13, 0, 1, 0, 0xF6, 1]
    )
    data = body + zlib.crc32(body).to_bytes(4, "big")
    bits = "".join(f"{byte:08b}" for byte in data)
    bits += "0" * (-len(bits) % 5)
    letters = "ABCDEFGHIJKLMNOPQRSTUVWXYZ234567"  # RFC 4648, section 6
    text = "".join(letters[int(bits[k : k + 5], 2)] for k in range(0, len(bits), 5))
    assert receipt_text(told) == f"GR1{text}."


def test_changed_or_cut_receipts_are_refused():
    plan = plan_of([(40, 0)] * 3)
    rng = random.Random(2)
    told = told_of(plan, some_ticks(rng, 120, 10), minutes=[1, 2, 3], meters=[None] * 3)
    text = receipt_text(told)
    for place in range(3, len(text) - 1):
        other = "A" if text[place] != "A" else "B"
        report, faults = read_receipt(text[:place] + other + text[place + 1 :], "x", lambda _: plan)
        assert report is None
        assert "check sum" in str(faults[0])
    for cut in (text[:-1], text[: len(text) // 2], text[: len(text) // 2] + "."):
        report, (fault,) = read_receipt(cut, "x", lambda _: plan)
        assert report is None
        assert "copy it whole and send it again" in str(fault)


def test_spaces_line_breaks_and_small_letters_do_no_harm():
    plan = plan_of([(8, 0)])
    told = told_of(plan, [Ticked(AS_PLANNED)] * 8, minutes=[5], meters=[None])
    text = receipt_text(told)
    broken = "\n".join(re.findall(".{1,20}", text.lower().replace("gr1", "GR1")))
    assert unpacked(f"Oda {broken} over and out") == told
    assert find_receipt("nothing of the kind") is None


def test_a_receipt_of_an_unknown_or_another_plan_is_refused():
    plan = plan_of([(8, 0)])
    text = receipt_text(told_of(plan, [Ticked()] * 8, minutes=[None], meters=[None]))
    _, (fault,) = read_receipt(text, "x", lambda _: None)
    assert f"plan = 'plan {PLAN_ID}'; allowed: a plan of this record" in str(fault)
    _, (fault,) = read_receipt(text, "x", lambda _: plan_of([(9, 0)]))
    assert "8 fittings, 0 checks, 1 stops" in str(fault)


@given(st.integers(-(2**40), 2**40))
def test_numbers_come_back(value):
    out = Packer()
    out.number(folded(value))
    taken = Unpacker(bytes(out.data))
    assert unfolded(taken.number()) == value
    assert taken.ended


@given(st.binary(max_size=40))
def test_any_bytes_are_read_or_refused(data):
    taken = Unpacker(data)
    try:
        taken.number()
        taken.text()
        taken.states(7)
    except CutOff:
        pass
    assert len(data) <= 40


def test_a_number_that_never_ends_is_refused():
    with pytest.raises(CutOff, match="too long"):
        Unpacker(b"\xff" * 30).number()
