"""The week and the first day of the demo quarry on paper: how many sheets, and all that is on them.

Both are planned here as the verbs plan them; the sheets are read back by pypdf, the printed pages
are those of a real Chromium.
"""

import io
import shutil
import subprocess
import time
import unicodedata
from dataclasses import replace
from pathlib import Path

import pytest

from greaseroute.cards.first_day_html import first_day_html, learner_walks
from greaseroute.cards.first_day_pdf import first_day_pdf
from greaseroute.cards.week_html import machine_days, week_html
from greaseroute.cards.week_pdf import week_pdf
from greaseroute.forecast.round_planner import round_planner
from greaseroute.forecast.week import WeekSettings, plan_week, span_of
from greaseroute.site.folder import read_site
from greaseroute.training.choice import DaySettings
from greaseroute.training.day import pairing
from greaseroute.training.first_day import plan_first_day
from tests.cards import test_first_day_pdf, test_week_pdf

pytest.importorskip("typst")
pypdf = pytest.importorskip("pypdf")
QUARRY = Path(__file__).parents[2] / "sites_demo" / "quarry_ruttersby"
CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")
A4_PT = (595, 842)
LANGUAGES = ("en", "de")


@pytest.fixture(scope="module")
def quarry():
    return read_site(QUARRY)


@pytest.fixture(scope="module")
def week(quarry):
    span = span_of(quarry, quarry.planned_for, mornings=7, settings=WeekSettings(weeks=200))
    return plan_week(span, plan=round_planner(quarry, seed=1))


@pytest.fixture(scope="module")
def first(quarry):
    pair = pairing(quarry, learner=None, mentor=None)
    return plan_first_day(quarry, quarry.planned_for, pair=pair, settings=DaySettings())


def seconds(work):
    """The shorter time of two runs: other work of the machine slows one down."""
    taken = []
    for _ in range(2):
        begun = time.perf_counter()
        work()
        taken.append(time.perf_counter() - begun)
    return min(taken)


@pytest.mark.parametrize("code", LANGUAGES)
def test_the_week_stands_on_two_sheets_with_every_figure(week, quarry, code):
    site = replace(quarry, language=code)
    pages = test_week_pdf.sheets(week_pdf(week, site))
    assert len(pages) == 2
    test_week_pdf.hold_all(week, site, " ".join(pages))
    assert len(machine_days(week)) > 40


@pytest.mark.parametrize("code", LANGUAGES)
def test_the_first_day_stands_on_ten_sheets_with_every_lesson(first, quarry, code):
    site = replace(quarry, language=code)
    pages = test_first_day_pdf.sheets(first_day_pdf(first, site))
    assert len(pages) <= 10
    test_first_day_pdf.hold_all(first, site, " ".join(pages))


def test_each_is_made_in_three_seconds(week, first, quarry):
    walks = learner_walks(first, quarry)
    assert seconds(lambda: week_pdf(week, quarry)) < 3
    assert seconds(lambda: first_day_pdf(first, quarry, walks=walks)) < 3


def printed(html, folder):
    """The sheets that Chromium prints of a page, with its own settings."""
    page, pdf = folder / "page.html", folder / "page.pdf"
    page.write_text(html, encoding="utf-8")
    command = [CHROMIUM, "--headless", "--no-sandbox", "--disable-gpu", f"--print-to-pdf={pdf}"]
    subprocess.run([*command, page.as_uri()], check=True, capture_output=True, timeout=120)
    return pypdf.PdfReader(pdf).pages


def sizes_pt(page):
    """The sizes of all text on a sheet, in points on paper."""
    found = set()

    def see(text, user, matrix, font, size):
        if text.strip():
            found.add(round(size * abs(matrix[3]) * abs(user[3]), 2))

    page.extract_text(visitor_text=see)
    return found


def smallest_pt(pages):
    return min(size for page in pages for size in sizes_pt(page))


def test_no_text_of_the_sheets_is_smaller_than_eight_points(week, first, quarry):
    for pdf in (week_pdf(week, quarry), first_day_pdf(first, quarry)):
        assert smallest_pt(pypdf.PdfReader(io.BytesIO(pdf)).pages) >= 8


@pytest.mark.browser
@pytest.mark.skipif(CHROMIUM is None, reason="no Chromium on this machine")
@pytest.mark.parametrize("kind", ["week", "first day"])
def test_the_page_printed_by_a_browser_keeps_to_as_few_sheets(week, first, quarry, tmp_path, kind):
    site = replace(quarry, language="de")  # the longer texts
    html = week_html(week, site) if kind == "week" else first_day_html(first, site)
    pages = printed(html, tmp_path)
    assert len(pages) <= (2 if kind == "week" else 10)
    assert {tuple(round(float(x)) for x in page.mediabox[2:]) for page in pages} == {A4_PT}
    # Letters set as one sign, such as those of "off", are taken apart again.
    shown = (unicodedata.normalize("NFKC", page.extract_text()) for page in pages)
    text = " ".join(" ".join(page.split()) for page in shown)
    for unit in {unit for unit, _ in machine_days(week)} if kind == "week" else ():
        assert unit in text
    for stop in first.stops if kind == "first day" else ():
        assert all(site.say.name(x.joint, stop.family) in text for x in stop.lessons)
    if kind == "week":
        assert site.say("week.paper.printed")[:30] in text
    assert smallest_pt(pages) >= 7.95  # Chromium rounds to its own hundredths
