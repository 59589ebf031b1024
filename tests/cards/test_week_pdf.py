"""The week's sheets, read back from the PDF by another program (pypdf), figure by figure."""

from dataclasses import replace
from pathlib import Path

import pytest

from greaseroute.cards.typesetter import halved
from greaseroute.cards.week_html import by_reason, machine_days, order_words, window_min
from greaseroute.cards.week_pdf import initials, week_pdf
from greaseroute.forecast.round_planner import round_planner
from greaseroute.forecast.week import WeekSettings, plan_week, span_of
from greaseroute.forecast.what_if import parse_what_if
from greaseroute.plan.round import LeftOut
from greaseroute.plan.week import CannotKeep
from greaseroute.site.folder import read_site
from tests.cards.pdf_sheets import sheets

pytest.importorskip("typst")
DEMO = Path(__file__).parents[2] / "sites_demo" / "three_machines"


def after(text, *words):
    """What stands behind the words, each looked for behind the one before."""
    for word in words:
        assert word in text, word
        text = text.split(word, 1)[1]
    return text.strip()


def week_texts(week, say):
    """Every figure of the week's tables as it must stand on paper, row after row."""
    number, clock = say.number, say.clock
    there = [m for m in week.mornings if m.technicians]
    for name in dict.fromkeys(t.name for m in there for t in m.technicians):
        own = [next(t for t in m.technicians if t.name == name) for m in there]
        out = [t for t in own if t.strokes]
        yield " ".join(f"{clock(t.start)}\u2013{clock(t.finish)}" for t in out)
        for values in (
            [t.walk_min for t in out], [t.wait_min for t in out], [t.work_min for t in out],
            [t.walk_m for t in out], [t.strokes for t in out],
        ):  # fmt: skip
            yield " ".join(number(value) for value in values)
    for unit, counts in machine_days(week):
        yield unit + " " + " ".join(str(n) for n in counts if n)
    for line in week.orders:
        yield f"{number(line.safety, 1)} {order_words(line, say)}"
    for g in week.greases:
        grams = (g.grams.p10, g.grams.p50, g.grams.p90, g.planned_g)
        yield f"{g.grease} {' '.join(number(x) for x in grams)}"
        cartridges = (g.cartridges.p10, g.cartridges.p50, g.cartridges.p90)
        yield f"{' '.join(number(x, 1) for x in cartridges)} {g.planned_cartridges}"


def hold_all(week, site, text):
    """Nothing of the week's tables is missing on paper, and nothing has another figure."""
    # Letters of who goes to a machine stand behind its figures: they are checked on their own.
    letters = set(initials([t.name for m in week.mornings for t in m.technicians]).values())
    bare = " ".join(word for word in text.split() if word not in letters)
    for wanted in week_texts(week, site.say):
        assert wanted in bare, wanted
    for left in (*week.mend_first, *week.no_gun):
        assert site.say.name(left.joint, family(site, left.unit)) in text, left
        assert site.say.sentence(left.reason) in text, left
    for m in week.mornings:
        joined = site.say("week.paper.of", n=site.say.number(m.minutes),
                          all=site.say.number(m.window_min))  # fmt: skip
        assert not m.technicians or joined in text
        assert all(f"({site.say.number(g)} g)" in text for g in m.grams.values())


def family(site, unit):
    return site.machine(next(u for u in site.units if u.unit == unit)).family


@pytest.fixture(scope="module")
def yard():
    return read_site(DEMO)


@pytest.fixture(scope="module")
def week(yard):
    settings = WeekSettings(weeks=50, what_ifs=(parse_what_if("wet=all"),))
    span = span_of(yard, yard.planned_for, mornings=7, settings=settings)
    return plan_week(span, plan=round_planner(yard, seed=1))


@pytest.mark.parametrize("code", ["en", "de"])
def test_every_figure_of_the_week_stands_on_one_sheet(week, yard, code):
    site = replace(yard, language=code)
    (sheet,) = sheets(week_pdf(week, site))
    hold_all(week, site, sheet)
    assert "week.json" in sheet
    then = week.what_if.grams["EP 2 lithium complex"].p50
    assert site.say.number(then) in after(sheet, site.say("week.what_if"))


def test_the_same_week_gives_the_same_bytes(week, yard):
    assert week_pdf(week, yard) == week_pdf(week, yard)


def test_a_cell_names_who_goes_to_the_machine(week, yard):
    (sheet,) = sheets(week_pdf(week, yard))
    unit, counts = machine_days(week)[0]
    row = after(sheet, "with the letter of who goes there:", f" {unit} ").split()
    went = [n for n in counts if n]
    assert row[: 2 * len(went)] == [w for n in went for w in (str(n), "I")]


def changed(week, **values):
    first = week.mornings[0].model_copy(update=values)
    return week.model_copy(update={"mornings": (first, *week.mornings[1:])})


def test_somebody_with_nothing_to_do_is_not_needed(week, yard):
    idle = week.mornings[0].technicians[0].model_copy(update={"name": "Bo", "strokes": 0})
    both = (*week.mornings[0].technicians, idle)
    (sheet,) = sheets(week_pdf(changed(week, technicians=both), yard))
    assert "not needed" in after(sheet, " Bo ")


def test_a_morning_without_a_round_has_its_estimate(week, yard):
    (sheet,) = sheets(week_pdf(changed(week, technicians=()), yard))
    assert f"{week.mornings[0].estimate_min:.0f} by estimate" in sheet


def test_what_is_left_out_what_nothing_keeps_and_what_is_to_be_mended_is_named(week, yard):
    unit = yard.units[0].unit
    left = LeftOut(unit=unit, joint="boom foot pin", reason="not enough time before the shift")
    keep = CannotKeep(unit=unit, joint="bucket pin", interval="8 h", used=1.33, helps="a helper")
    also = changed(week, left=(left,)).model_copy(
        update={"mend_first": (left.model_copy(update={"reason": "arm 0.17 m too short"}),),
                "cannot_keep": (keep,)}
    )  # fmt: skip
    sheet = " ".join(sheets(week_pdf(also, yard)))
    assert f"{unit} boom foot pin: not enough time before the shift" in sheet
    assert f"{unit} boom foot pin: arm 0.17 m too short" in after(sheet, "Mend first")
    assert "bucket pin: every 8 h, at 133 % by the next round; what helps: a helper" in sheet


def test_thirty_mornings_stand_seven_abreast(week, yard):
    long = week.model_copy(update={"mornings": tuple(week.mornings) * 4 + week.mornings[:2]})
    pages = sheets(week_pdf(long, yard))
    hold_all(long.model_copy(update={"mornings": week.mornings}), yard, " ".join(pages))
    assert " ".join(pages).count("all, min") == 5


def test_machines_with_the_same_fault_stand_together(yard):
    units = [unit.unit for unit in yard.units]
    lefts = [LeftOut(unit=u, joint="bucket pin", reason="hidden behind bucket") for u in units]
    assert by_reason(lefts, yard) == [(", ".join(units), "bucket pin: hidden behind bucket")]


@pytest.mark.parametrize(
    ("names", "letters"),
    [
        (["Oda", "Jarle"], ["O", "J"]),
        (["Jana", "Jarle"], ["Jan", "Jar"]),
        (["Jan", "Jana"], ["Jan", "Jana"]),
        (["Oda"], ["O"]),
    ],
)
def test_the_shortest_beginnings_that_tell_names_apart(names, letters):
    assert list(initials(names).values()) == letters


def test_halves_hold_as_many_letters_as_can_be():
    assert halved([["aaaa"], ["a"], ["a"], ["aa"]]) == [[["aaaa"]], [["a"], ["a"], ["aa"]]]
    assert halved([]) == []


def test_the_window_ends_at_the_next_start_of_the_shift(week):
    technician = week.mornings[0].technicians[0]
    late = technician.model_copy(update={"start": "2026-03-03T22:30:00+01:00"})
    assert window_min(late, "06:00") == 450.0
    assert window_min(late.model_copy(update={"start": "2026-03-03T05:00:00+01:00"}), "06:00") == 60
