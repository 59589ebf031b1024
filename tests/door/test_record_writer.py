"""Booking from many threads through the Python door."""

import json
import shutil
import threading
from datetime import datetime
from pathlib import Path

import pytest

import greaseroute as gr
from greaseroute.errors import BadInput, UnknownName
from greaseroute.ledger.store import FILE, open_ledger
from tests.ledger.cards import card_of

YARD = Path(__file__).parents[2] / "sites_demo" / "three_machines"
AFTER = datetime(2026, 3, 3, 12)
AT = "2026-03-03T06:00:00+01:00"
NEXT = "2026-03-04T05:00"


@pytest.fixture
def site(tmp_path):
    return gr.read_site(shutil.copytree(YARD, tmp_path / "yard"))


def _due(folder):
    return {(i.unit, i.joint) for i in gr.due(gr.read_site(folder), NEXT).items if i.due}


def _reading(unit, meter_h, at=AT):
    return json.dumps({"kind": "meter_read", "at": at, "unit": unit, "meter_h": meter_h})


def test_what_threads_hand_in_is_booked_once_each_and_due_is_shorter(site):
    card = json.dumps(card_of(gr.plan_round(site).plan))
    first = site.record.units[0]
    times = [f"2026-03-03T06:{minute:02d}:00+01:00" for minute in range(30)]
    given = [card] * 10 + [_reading(first.unit, first.meter_h, at) for at in times]
    before, done = _due(site.folder), []
    with gr.record_writer(site, now=AFTER) as writer:
        threads = [
            threading.Thread(target=lambda text=text: done.append(writer.hand_in(text)))
            for text in given
        ]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
        assert [each.result(timeout=60) for each in done] == [None] * len(given)
    with open_ledger(site.folder / FILE) as ledger:
        kinds = [event.kind for event in ledger.events()]
    booked = len(site.record.last_services) + len(json.loads(card)["events"])
    assert kinds.count("greased") == booked
    assert _due(site.folder) < before


def test_what_cannot_be_is_refused_alone(site):
    first = site.record.units[0]
    with gr.record_writer(site, now=AFTER) as writer:
        gone = writer.hand_in(_reading("XX-9", 5), "a")
        good = writer.hand_in(_reading(first.unit, first.meter_h + 1), "b")
        back = writer.hand_in(_reading(first.unit, 1), "c")
        assert good.result(60) is None
        assert _fault(gone).startswith("a:1: meter_read of unit XX-9: unit = ")
        assert _fault(back).startswith(f"c:1: meter_read of unit {first.unit}: meter_h = ")
        with pytest.raises(BadInput, match="d: 1 fault"):
            writer.hand_in("{", "d")


def _fault(booked):
    with pytest.raises(BadInput) as refused:
        booked.result(60)
    return str(refused.value.faults[0])


def test_a_site_without_a_folder_has_no_record(site):
    with pytest.raises(UnknownName, match="read from its folder"):
        gr.record_writer(type(site)(site.record))
