"""The card under the rules of axe (accessibility), screen by screen, bright and dark."""

from dataclasses import replace
from datetime import datetime, timedelta

import pytest

from greaseroute.cards.html import card_html
from tests.cards import sample

pytestmark = pytest.mark.browser
axe = pytest.importorskip("axe_playwright_python.sync_playwright")
# axe's own tags of WCAG 2.2 A and AA and of good practice, and the contrast of 7:1 (AAA).
RULES = {
    "runOnly": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"],
    "rules": {"color-contrast-enhanced": {"enabled": True}, "target-size": {"enabled": True}},
}


@pytest.fixture(scope="module")
def file(yard, tmp_path_factory):
    path = tmp_path_factory.mktemp("axe") / "card.html"
    plan = sample.plan(yard, technicians=("Ada", "Bo"))
    path.write_text(card_html(plan, yard), encoding="utf-8")
    return path


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("size", [(360, 740), (1440, 900)])
def test_axe_finds_no_violation(browser, file, size, scheme):
    context = browser.new_context(
        viewport={"width": size[0], "height": size[1]}, color_scheme=scheme
    )
    page = context.new_page()
    page.clock.set_fixed_time(sample.START + timedelta(hours=5))  # by day: dark by scheme alone
    page.goto(file.as_uri())
    assert page.evaluate("document.documentElement.classList.contains('dark')") == (
        scheme == "dark"
    )
    found = {}

    def look(name):
        results = axe.Axe().run(page, options=RULES).response
        assert len(results["passes"]) > 5
        assert any(rule["id"] == "color-contrast-enhanced" for rule in results["passes"])
        bad = [(v["id"], [n["html"][:90] for n in v["nodes"]][:3]) for v in results["violations"]]
        if bad:
            found[name] = bad

    look("who")
    page.locator(".who").first.click()
    look("arrive")
    page.locator(".isolate").click()
    look("place")
    page.locator(".phase.shown .opener").first.click()
    look("differs")
    page.locator(".map-key").click()
    look("map")
    page.keyboard.press("Escape")
    page.locator(".list-key").click()
    look("list")
    page.locator(".hand-key").click()
    look("hand in")
    context.close()
    assert found == {}


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_axe_finds_no_violation_where_each_step_is_ticked(browser, yard, tmp_path, scheme):
    rules = yard.rules.model_copy(update={"tick_isolation_steps": True})
    path = tmp_path / "card.html"
    path.write_text(card_html(sample.plan(yard), replace(yard, rules=rules)), encoding="utf-8")
    page = browser.new_page(viewport={"width": 390, "height": 844}, color_scheme=scheme)
    page.clock.set_fixed_time(sample.START + timedelta(hours=5))
    page.goto(path.as_uri())
    for _ in range(2):
        results = axe.Axe().run(page, options=RULES).response
        assert [(v["id"], v["nodes"][0]["html"][:90]) for v in results["violations"]] == []
        page.locator(".iso-step input").first.check()
    assert page.locator(".iso-step input").first.is_checked()
    page.close()


def test_it_is_dark_at_night_by_itself(browser, file):
    context = browser.new_context(color_scheme="light")
    page = context.new_page()
    page.clock.set_fixed_time(datetime(2031, 3, 4, 4, 30).astimezone())
    page.goto(file.as_uri())
    assert page.evaluate("document.documentElement.classList.contains('dark')")
    context.close()
