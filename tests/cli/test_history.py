"""``greaseroute history``: one machine on one page, and the site's grease, pace and stock."""

import json
import re
import shutil
from datetime import datetime, timedelta
from pathlib import Path
from xml.etree import ElementTree

import pytest

from greaseroute.cli.main import entry
from greaseroute.cli.on_record import on_record
from greaseroute.ledger.store import FILE, open_ledger
from greaseroute.rounds.planner import plan_round
from greaseroute.rounds.request import RoundRequest
from greaseroute.site.folder import read_site
from tests.history.test_pace import _card
from tests.ledger.cards import card_of, could_not, written

YARD = Path(__file__).parent.parent.parent / "sites_demo" / "three_machines"
AT = ["--at", "2026-03-04T05:00"]


@pytest.fixture(scope="module")
def booked(tmp_path_factory):
    """The yard with one card booked: BF-1's pulleys greased, RB-1's rear fitting blocked."""
    folder = tmp_path_factory.mktemp("history") / "yard"
    shutil.copytree(YARD, folder)
    site = read_site(folder)
    plan = plan_round(site, RoundRequest(site.planned_for))
    card = card_of(plan, meters={"BF-1": 1060.5})
    could_not(card, ("RB-1", "crank bearing", "rear"), "does not take grease")
    file = written(card, folder.parent / "card.json")
    leak = ["--event", "defect", "unit=BF-1", "joint=take-up slide", "defect=leak",
            "words=lip torn", "at=2026-03-03T05:30", "technician=Imke"]  # fmt: skip
    assert entry(["record", str(folder), str(file), "--at", "2026-03-03T08:00", *leak]) == 0
    return folder


def test_a_unit_in_words(booked, capsys):
    capsys.readouterr()
    assert entry(["history", str(booked), "BF-1", *AT]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert lines[0] == "BF-1, Belt feeder, 6 m, Three machines: 90 days up to 2026-03-04 05:00"
    # 1060.5 h read at 06:59, half an hour into the shift, which ends at 14:30: 7.5 h more.
    # 1 joint of 3 is due, its slide.
    assert lines[1].startswith("meter 1068 h")
    assert lines[1].endswith("1 of 3 joints due")
    assert lines[2] == ["EP 2 lithium complex: 6 g", " 0 services told no strokes"][0]
    assert "take-up slide: leak (lip torn) seen on 2026-03-03" in lines
    assert any(
        line.endswith(
            "greased tail pulley bearing, head pulley bearing: 2 fittings, 7 strokes, Imke"
        )
        for line in lines
    )
    assert any("meter read 1060.5 h" in line for line in lines)


def test_its_page_is_one_file_that_loads_nothing_with_a_plot(booked, tmp_path, capsys):
    assert entry(["history", str(booked), "BF-1", *AT, "--out", str(tmp_path)]) == 0
    page = (tmp_path / "history-BF-1.html").read_text(encoding="utf-8")
    assert "http:" not in page.replace("http://www.w3.org/2000/svg", "")
    assert "https:" not in page
    begin, end = page.index("<svg"), page.index("</svg>") + 6
    plot = ElementTree.fromstring(page[begin:end])
    space = "{http://www.w3.org/2000/svg}"
    kinds = [each.get("class") for each in plot.iter() if each.get("class")]
    # 1000, 1052 (last services), 1060 (fleet list), 1060.5 (card) are read; greased: the 50 h
    # class on 23 February and 3 March, the 10 h class on 2 March; one defect.
    assert kinds.count("h-dot") == 4
    assert kinds.count("h-greased") == 3
    assert kinds.count("h-defect") == 1
    assert len(list(plot.iter(f"{space}path"))) > 4


def test_a_unit_that_is_not_there_and_a_site_without_a_record_are_told(booked, tmp_path, capsys):
    assert entry(["history", str(booked), "QQ-1", *AT]) == 2
    assert "UNIT: QQ-1; allowed: BF-1, RB-1, BF-2" in capsys.readouterr().err
    shutil.copytree(YARD, tmp_path / "bare")
    assert entry(["history", str(tmp_path / "bare"), "BF-1"]) == 2
    assert "record.sqlite: missing; " in capsys.readouterr().err
    assert not (tmp_path / "bare" / FILE).exists()


def test_the_site_in_json(booked, capsys):
    capsys.readouterr()
    assert entry(["history", str(booked), *AT, "--format", "json"]) == 0
    found = json.loads(capsys.readouterr().out)
    # Strokes of 0.9 g: BF-1 3 + 4, RB-1 5 (the other one takes none), BF-2 3 + 4.
    assert {g["unit"]: g["grams"] for g in found["grease"]} == {
        "BF-1": 6.3, "RB-1": 4.5, "BF-2": 6.3,
    }  # fmt: skip


def test_pace_is_taken_over_only_when_agreed_to(tmp_path, capsys):
    folder = tmp_path / "yard"
    shutil.copytree(YARD, folder)
    begun = datetime.fromisoformat("2026-02-10T05:00:00+01:00")
    events = [event for k in range(10) for event in _card(k, plan_at=begun + timedelta(days=k))]
    with open_ledger(folder / FILE, create=True) as ledger:
        ledger.append(events, received=begun)
    assert entry(["history", str(folder), *AT]) == 0
    text = capsys.readouterr().out
    assert (
        "Imke, bearing: 1.50 (half of 30 between 1.50 and 1.50; 20 min for 13 planned): offered"
        in text
    )
    plain = _work_s(folder)
    assert entry(["history", str(folder), *AT, "--yes"]) == 0
    # The slides were ticked 20 times as well: both kinds are offered.
    assert "Agreed to 2 of the paces offered" in capsys.readouterr().out
    # All that is planned now are bearings: coupling and strokes take half as long again.
    slower = _work_s(folder)
    assert slower > plain
    site, _ = on_record(read_site(folder), folder, datetime.fromisoformat("2026-03-05T05:00"))
    assert site.technicians[0].pace["bearing"] == pytest.approx(1.5)


def _work_s(folder):
    at = datetime.fromisoformat("2026-03-05T05:00:00+01:00")
    site, at = on_record(read_site(folder), folder, at)
    plan = plan_round(site, RoundRequest(at, work=[("RB-1", "crank bearing")]))
    (stop,) = [s for t in plan.technicians for s in t.stops]
    return sum(task.work_s for stand in stop.stands for task in stand.fittings)


@pytest.mark.browser
def test_the_page_prints_on_one_sheet(browser, booked, tmp_path):
    assert entry(["history", str(booked), "BF-1", *AT, "--out", str(tmp_path)]) == 0
    page = browser.new_page()
    page.goto((tmp_path / "history-BF-1.html").as_uri())
    pdf = page.pdf(format="A4")
    page.close()
    assert re.findall(rb"/Type /Page\b", pdf) == [b"/Type /Page"]
