"""From the card in a real browser to the record and the next morning's due list."""

import json
import shutil
from datetime import datetime
from pathlib import Path

import pytest

from greaseroute.cli.main import entry

pytestmark = pytest.mark.browser
YARD = Path(__file__).parent.parent.parent / "sites_demo" / "three_machines"
NEXT = "2026-03-04T05:00"


def _due(yard, capsys):
    assert entry(["due", str(yard), "--format", "json", "--at", NEXT]) == 0
    items = json.loads(capsys.readouterr().out)["items"]
    return {(i["unit"], i["joint"]): i["fittings"] for i in items if i["due"]}


def _row(page, unit, joint, fitting):
    """The row of a fitting, on the screen: its machine chosen, isolated, its place turned to."""
    row = page.locator(
        f'.stop[data-unit="{unit}"] .row[data-joint="{joint}"][data-fitting="{fitting}"]'
    )
    if not row.is_visible():
        page.locator(".list-key").click()
        page.locator(".to-stop", has_text=unit).click()
        if page.locator(".isolate").count():
            page.locator(".isolate").click()
    while not row.is_visible():
        page.get_by_label("stop after").click()
    return row


def test_what_is_ticked_is_not_due_the_next_morning_and_nothing_else(browser, tmp_path, capsys):
    yard, out = tmp_path / "yard", tmp_path / "out"
    shutil.copytree(YARD, yard)
    assert entry(["round", str(yard), "--out", str(out)]) == 0
    capsys.readouterr()
    before = _due(yard, capsys)
    page = browser.new_page()
    page.clock.set_fixed_time(datetime.fromisoformat("2026-03-03T05:20:00+01:00"))
    page.goto((out / "card.html").as_uri())
    _row(page, "BF-1", "head pulley bearing", "right").locator("input").first.check()
    slide = _row(page, "BF-2", "take-up slide", "right")
    slide.locator(".opener").click()
    slide.get_by_label("one stroke more").click()
    slide.locator("select.found").select_option("leak")
    slide.locator("input[type=text]").fill("lip torn")
    slide.locator("input[type=text]").blur()
    _row(page, "RB-1", "crank bearing", "front").locator("input").first.check()
    rear = _row(page, "RB-1", "crank bearing", "rear")
    rear.locator(".opener").click()
    rear.locator("select.reason").select_option("does not take grease")
    page.reload()
    page.locator(".list-key").click()
    assert page.inner_text("#count") == "4 of 6 done or reported"
    page.locator(".hand-key").click()
    page.locator(".hand-in summary").first.click()
    with page.expect_download() as waiting:
        page.locator(".hand-in .save").first.click()
    file = tmp_path / waiting.value.suggested_filename
    waiting.value.save_as(file)
    receipt = page.locator(".receipt").first.input_value()
    page.close()
    assert file.name.startswith("card-Imke-2026-03-03-")
    booking = ["--at", "2026-03-03T08:00", "--plan", str(out / "round.json")]
    assert entry(["record", str(yard), str(file), *booking]) == 0
    said = capsys.readouterr().out
    assert "greased 3, could not 1, defects seen 1" in said.replace("cartridges fitted 1, ", "")
    after = _due(yard, capsys)
    # Every machine works 8 h until then, so that BF-1's take-up slide (16 of 10 h) is due as well.
    assert before[("RB-1", "crank bearing")] == 2
    expected = dict(before)
    del expected["BF-1", "head pulley bearing"], expected["BF-2", "take-up slide"]
    expected["RB-1", "crank bearing"] = 1
    assert after == expected
    # The receipt of the same card tells nothing that is not booked.
    assert entry(["record", str(yard), receipt, *booking]) == 0
    assert "0 new" in capsys.readouterr().out
