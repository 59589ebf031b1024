"""The card in a real browser: ticks kept, reasons, hand-in file, storage refused, no network."""

import json
import shutil

import pytest

from greaseroute.cards.html import card_html
from greaseroute.plan.handed_out import round_id

pytestmark = pytest.mark.browser
sync_api = pytest.importorskip("playwright.sync_api")
CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")


@pytest.fixture(scope="module")
def browser():
    if CHROMIUM is None:
        pytest.skip("no Chromium on this machine")
    with sync_api.sync_playwright() as play:
        found = play.chromium.launch(
            executable_path=CHROMIUM,
            args=["--no-sandbox", "--disable-gpu", "--no-first-run", "--disable-sync"],
        )
        yield found
        found.close()


@pytest.fixture(scope="module")
def file(tmp_path_factory, plan, yard):
    path = tmp_path_factory.mktemp("card") / "card.html"
    path.write_text(card_html(plan, yard), encoding="utf-8")
    return path


@pytest.fixture
def phone(browser, file):
    context = browser.new_context(viewport={"width": 390, "height": 844})
    page = context.new_page()
    page.asked, page.faults = [], []
    page.on("request", lambda request: page.asked.append(request.url))
    page.on("pageerror", lambda error: page.faults.append(str(error)))
    page.on("console", lambda line: page.faults.append(line.text) if line.type == "error" else None)
    page.goto(file.as_uri())
    yield page
    context.close()


def handed_in(page):
    return json.loads(page.input_value("#text"))


def test_it_loads_nothing_and_raises_nothing(phone, file):
    assert phone.asked == [file.as_uri()]
    assert phone.faults == []


def test_it_fits_a_phone(phone):
    # Nothing is wider than the screen, and every box to tick is big enough for a thumb's tip.
    assert phone.evaluate("document.documentElement.scrollWidth") <= 390
    box = phone.locator("tr.row input").first.bounding_box()
    assert min(box["width"], box["height"]) >= 24  # WCAG 2.2, target size (minimum), 24 px


def test_a_tick_survives_a_reload_and_is_handed_in(phone, plan):
    phone.locator("tr.row input").first.check()
    assert phone.inner_text("#count") == "1 of 19 settled"
    assert phone.inner_text("#kept") == "kept on this phone"
    phone.reload()
    assert phone.locator("tr.row input").first.is_checked()
    report = handed_in(phone)
    assert {k: report[k] for k in ("format", "round", "site", "planned_for")} == {
        "format": "greaseroute card 1",
        "round": round_id(plan),
        "site": plan.site,
        "planned_for": plan.at,
    }
    (event,) = report["events"]
    assert len(event.pop("id")) == 16
    assert event.pop("at").endswith("Z")
    assert event == {
        "technician": "Ada",
        "unit": "EX-01",
        "joint": "boom root",
        "fitting": "left",
        "grease": "plain",
        "strokes": 4,
        "done": True,
    }


def test_a_tick_taken_back_is_gone(phone):
    box = phone.locator("tr.row input").first
    box.check()
    box.uncheck()
    assert handed_in(phone)["events"] == []
    assert phone.inner_text("#count") == "0 of 19 settled"


def test_could_not_takes_the_tick_away_and_keeps_the_reason(phone):
    row = phone.locator("tr.row").nth(1)
    row.locator("input").check()
    row.locator("select").select_option("does not take grease")
    assert not row.locator("input").is_checked()
    (event,) = handed_in(phone)["events"]
    assert (event["done"], event["reason"], event["strokes"]) == (False, "does not take grease", 0)
    assert "not" in row.get_attribute("class").split()


def test_a_look_point_is_handed_in_without_strokes(phone):
    phone.locator("tr.look input").first.check()
    (event,) = handed_in(phone)["events"]
    assert event["look"] == "coolant"
    assert "strokes" not in event


def test_meter_readings_are_handed_in(phone):
    field = phone.locator('[data-meter="HT-02"]')
    field.fill("1234.5")
    field.blur()
    (meter,) = handed_in(phone)["meters"]
    assert (meter["unit"], meter["meter_h"]) == ("HT-02", 1234.5)
    field.fill("")
    field.blur()
    assert handed_in(phone)["meters"] == []


def test_the_file_is_written_and_holds_the_same(phone, plan):
    phone.locator("tr.row input").nth(2).check()
    with phone.expect_download() as waiting:
        phone.click("#save")
    download = waiting.value
    assert download.suggested_filename == f"card-{round_id(plan)}.json"
    with open(download.path(), encoding="utf-8") as handle:
        assert json.load(handle)["events"] == handed_in(phone)["events"]


def test_ticks_of_two_rounds_do_not_mix(phone, browser, tmp_path, plan, yard):
    phone.locator("tr.row input").first.check()
    other = tmp_path / "card.html"
    other.write_text(card_html(plan.model_copy(update={"seed": 9}), yard), encoding="utf-8")
    phone.goto(other.as_uri())
    assert phone.inner_text("#count") == "0 of 19 settled"


def test_refused_storage_is_said_and_handing_in_still_works(browser, file):
    # A preview pane shows a page in a sandbox of no origin, where localStorage throws.
    page = browser.new_page()
    page.set_content(
        f'<iframe sandbox="allow-scripts" width=390 height=800 srcdoc="{_quoted(file)}">'
    )
    frame = page.frame_locator("iframe")
    assert frame.locator("#kept").inner_text() == "NOT saved on this phone"
    frame.locator("tr.row input").first.check()
    assert len(json.loads(frame.locator("#text").input_value())["events"]) == 1
    page.close()


def _quoted(file):
    return file.read_text(encoding="utf-8").replace("&", "&amp;").replace('"', "&quot;")


def test_without_a_script_the_whole_round_is_there(browser, file, plan):
    context = browser.new_context(java_script_enabled=False)
    page = context.new_page()
    page.goto(file.as_uri())
    assert page.locator("tr.row").count() == 19
    assert page.locator("tr.row input").first.is_visible()
    assert not page.locator("#bar").is_visible()
    assert page.locator("svg").count() == 1 + 2 * 5  # the map, two drawings a unit
    context.close()


@pytest.mark.parametrize("sheet", ["A4", "Letter"])
def test_it_prints(phone, sheet, tmp_path):
    pdf = tmp_path / "card.pdf"
    phone.locator("details").evaluate("part => part.open = false")
    phone.pdf(path=str(pdf), format=sheet)
    assert pdf.read_bytes()[:5] == b"%PDF-"
    assert phone.locator("details").evaluate("part => part.open")  # cautions are never folded
