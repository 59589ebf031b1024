"""The card of a real round, the demo quarry's, as a technician holds it: taps, sizes, times."""

import json
import shutil
from datetime import datetime, timedelta
from pathlib import Path

import pytest

from greaseroute.cards.html import card_html
from greaseroute.ledger.card_file import read_card
from greaseroute.rounds.planner import plan_round
from greaseroute.rounds.request import Effort, RoundRequest
from greaseroute.site.folder import read_site

pytestmark = pytest.mark.browser
sync_api = pytest.importorskip("playwright.sync_api")
CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")
QUARRY = Path(__file__).parent.parent.parent / "sites_demo" / "quarry_ruttersby"
SCREENS = {"phone": (360, 740), "tablet": (820, 1180), "desktop": (1440, 900)}
SIZES = """() => Array.from(document.querySelectorAll('button, input, select, summary'))
  .map(e => e.getBoundingClientRect()).filter(r => r.width > 0)
  .map(r => Math.min(r.width, r.height))"""


@pytest.fixture(scope="module")
def quarry():
    return read_site(QUARRY)


@pytest.fixture(scope="module")
def plan(quarry):
    at = quarry.planned_for
    return plan_round(quarry, RoundRequest(at), effort=Effort(1, iterations=300, prove=False))


@pytest.fixture(scope="module")
def file(plan, quarry, tmp_path_factory):
    path = tmp_path_factory.mktemp("quarry") / "card.html"
    path.write_text(card_html(plan, quarry), encoding="utf-8")
    return path


@pytest.fixture(scope="module")
def browser():
    if CHROMIUM is None:
        pytest.skip("no Chromium on this machine")
    with sync_api.sync_playwright() as play:
        found = play.chromium.launch(
            executable_path=CHROMIUM, args=["--no-sandbox", "--disable-gpu", "--no-first-run"]
        )
        yield found
        found.close()


@pytest.fixture
def open_card(browser, file, plan):
    """The card on a screen of a kind; every request and every fault is kept."""
    contexts = []

    def opened(screen="phone", *, scheme="light", at=None):
        width, height = SCREENS[screen]
        context = browser.new_context(
            viewport={"width": width, "height": height}, color_scheme=scheme, has_touch=True
        )
        contexts.append(context)
        page = context.new_page()
        page.asked, page.faults = [], []
        page.on("request", lambda request: page.asked.append(request.url))
        page.on("pageerror", lambda error: page.faults.append(str(error)))
        page.on(
            "console",
            lambda line: page.faults.append(line.text) if line.type == "error" else None,
        )
        moment = at or datetime.fromisoformat(plan.at) + timedelta(hours=6)
        page.clock.set_fixed_time(moment)
        page.goto(file.as_uri())
        return page

    yield opened
    for context in contexts:
        context.close()


def press(page, selector):
    page.locator(selector).first.click()


def next_press(page):
    """Press what a technician presses where nothing differs; what it was."""
    for selector in (".isolate", ".whole", "#bar .main"):
        if page.locator(selector).count():
            text = page.locator(selector).first.inner_text()
            press(page, selector)
            return text
    raise AssertionError("nothing to press")


def stops_done(page, walk):
    page.locator(".list-key").click()
    done = page.locator(".to-stop.over").count()
    page.locator("#bar .main").click()
    return done


@pytest.mark.parametrize("walk", [0, 1])
def test_five_stops_take_at_most_twenty_taps_where_nothing_differs(open_card, plan, walk):
    page = open_card()
    page.locator(".who").nth(walk).click()
    taps = 1
    sixth = plan.technicians[walk].stops[5].unit
    while page.locator("#head .now h1").inner_text() != sixth:
        next_press(page)
        taps += 1
        assert taps <= 20
    # Each of them is really told: no fitting of the five stops is left.
    wanted = sum(
        len(at.fittings) for stop in plan.technicians[walk].stops[:5] for at in stop.stands
    )
    page.locator(".list-key").click()
    assert page.inner_text("#count").startswith(f"{wanted} of ")


def test_the_first_screen_says_where_to_go(open_card, plan):
    page = open_card()
    for k, walk in enumerate(plan.technicians):
        key = page.locator(".who").nth(k)
        box = key.bounding_box()
        assert box["y"] + box["height"] <= 740  # without scrolling
        text = key.inner_text()
        assert walk.name in text
        assert walk.stops[0].unit in text
        assert " m " in text
        assert box["height"] >= 56


def test_a_whole_round_with_a_reload_in_the_middle_comes_back_whole(open_card, plan, file):
    page = open_card()
    press(page, ".who")
    walk, presses = plan.technicians[0], 0
    while not page.locator("#export").is_visible():
        if presses == 30:
            before = page.locator("#head").inner_text()
            page.reload()
            assert page.locator("#head").inner_text() == before
        next_press(page)
        presses += 1
        assert presses < 8 * len(walk.stops)
    part = page.locator(".hand-in").first
    part.locator("summary").click()
    with page.expect_download() as waiting:
        part.locator(".save").click()
    report, _, faults = read_card(Path(waiting.value.path()).read_text("utf-8"), "card")
    assert faults == []
    planned = [
        (stop.unit, task.joint, task.fitting, task.strokes)
        for stop in walk.stops
        for at in stop.stands
        for task in at.fittings
    ]
    told = json.loads(Path(waiting.value.path()).read_text("utf-8"))["events"]
    assert sum(event.kind == "greased" for event in report.events) == len(planned)
    assert [(e["unit"], e["joint"], e["fitting"], e["strokes"]) for e in told] == planned
    assert page.faults == []
    assert set(page.asked) == {file.as_uri()}


def test_nothing_can_be_ticked_before_the_machine_is_isolated(open_card):
    page = open_card()
    press(page, ".who")
    page.locator("#bar .side").last.click()  # to the first place, past the isolation
    assert page.locator(".isolate").count() == 0
    assert page.locator(".place-key, .whole").count() == 0
    for _ in range(9):
        if not page.locator(".phase.shown .row").count():
            page.locator("#bar .side").last.click()
    assert page.locator(".phase.shown .row input").first.is_disabled()
    assert page.locator(".phase.shown .opener").first.is_disabled()
    assert "first" in page.locator("#bar .why").inner_text()


def test_undo_takes_back_a_machine_and_stays_there(open_card):
    page = open_card()
    press(page, ".who")
    unit = page.locator("#head .now h1").inner_text()
    while not page.locator(".whole").count():
        next_press(page)
    next_press(page)
    press(page, ".undo")
    assert page.locator("#head .now h1").inner_text() == unit
    page.locator(".list-key").click()
    assert page.inner_text("#count").startswith("0 of ")


def test_time_against_the_plan_is_told(open_card, plan):
    stop = plan.technicians[0].stops[0]
    page = open_card(at=datetime.fromisoformat(stop.arrive) + timedelta(minutes=7))
    press(page, ".who")
    assert "7 min late" in page.locator("#head .now").inner_text()


def test_ticking_is_quick_on_a_slow_phone(open_card):
    page = open_card()
    press(page, ".who")
    while not page.locator(".place-key").count():
        next_press(page)
    page.context.new_cdp_session(page).send("Emulation.setCPUThrottlingRate", {"rate": 4})
    spent = page.evaluate(
        """() => Array.from(document.querySelectorAll('.phase.shown .row input')).map(box => {
             const begin = performance.now(); box.click(); document.body.offsetHeight;
             return performance.now() - begin; })"""
    )
    assert spent
    # A quarter of the speed of this machine stands for a phone. The quickest is taken, and on a
    # machine that does nothing else it is under 50 ms; what runs beside the tests adds to it.
    assert min(spent) < 250


def test_the_card_is_small(file):
    assert file.stat().st_size < 1_500_000


@pytest.mark.parametrize("screen", SCREENS)
def test_no_screen_is_wider_than_it_is_and_nothing_to_press_is_small(open_card, screen):
    page = open_card(screen)
    seen = []
    for _ in range(7):
        page.evaluate("window.scrollTo(0, 0)")
        assert page.evaluate("document.documentElement.scrollWidth") <= SCREENS[screen][0]
        seen += page.evaluate(SIZES)
        press(page, ".who") if page.locator(".who:visible").count() else next_press(page)
    assert len(seen) > 20
    assert min(seen) >= 56
    assert page.faults == []
