"""One table of strings in each language: the same keys, the same placeholders, no key missing."""

import ast
import re
import string
from dataclasses import replace
from pathlib import Path

import pytest

import greaseroute
from greaseroute.cards.cautions import RESTS_ON
from greaseroute.cards.first_day_html import first_day_html
from greaseroute.cards.week_html import week_html
from greaseroute.catalogue.joint import GreaseWant
from greaseroute.catalogue.shelf import shelf_attachments, shelf_names, shelf_type
from greaseroute.drawings.map_svg import map_svg
from greaseroute.errors import UnknownName
from greaseroute.forecast.week import WeekSettings, plan_week, span_of
from greaseroute.rounds.planner import plan_round
from greaseroute.rounds.request import Effort, RoundRequest
from greaseroute.site.crew import Grease
from greaseroute.site.folder import read_site
from greaseroute.site.grease_fit import misfits
from greaseroute.texts.language import ENGLISH, MissingText, language, languages
from greaseroute.training.choice import DaySettings
from greaseroute.training.day import pairing
from greaseroute.training.first_day import plan_first_day
from tests.trade_words import shown

DEMO = Path(__file__).parents[2] / "sites_demo" / "three_machines"
GERMAN = language("de")
OTHERS = [language(code) for code in languages() if code != "en"]
PACKAGE = Path(greaseroute.__file__).parent


def forms(text):
    return (text,) if isinstance(text, str) else text


def placeholders(text):
    return [{f for _, f, _, _ in string.Formatter().parse(form) if f} for form in forms(text)]


@pytest.mark.parametrize("other", OTHERS, ids=lambda each: each.code)
def test_every_language_has_the_same_keys_and_placeholders(other):
    assert other.texts.keys() == ENGLISH.texts.keys()
    for key, text in ENGLISH.texts.items():
        assert placeholders(other.texts[key]) == placeholders(text), key


@pytest.mark.parametrize("code", languages())
def test_no_text_is_empty_or_ends_in_a_blank_by_oversight(code):
    for key, text in language(code).texts.items():
        assert all(form.strip() for form in forms(text)), key
        assert not any(form.endswith(" ") for form in forms(text)), key


def keys_in_the_code():
    """Keys that the code and the pages ask for by a text of their own."""
    for file in PACKAGE.rglob("*.py"):
        for node in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Call) and node.args and isinstance(node.args[0], ast.Constant):
                called = node.func
                name = called.id if isinstance(called, ast.Name) else getattr(called, "attr", "")
                if name in ("say", "ENGLISH"):
                    yield f"{file.name}:{node.lineno}", node.args[0].value


def test_every_key_of_the_code_is_in_the_table():
    found = list(keys_in_the_code())
    assert len(found) >= 25
    assert [(where, key) for where, key in found if key not in ENGLISH.texts] == []


def test_a_missing_key_is_an_error_and_so_is_a_missing_value():
    with pytest.raises(MissingText, match="no_such"):
        ENGLISH("summary.no_such")
    with pytest.raises(KeyError, match="site"):
        ENGLISH("summary.head", day="", clock="")
    with pytest.raises(MissingText, match="count"):
        ENGLISH("count.joint", n=1)


def test_an_unknown_language_is_told_with_those_there_are():
    with pytest.raises(UnknownName, match="de, en"):
        language("xx")


def test_figures_and_days_are_those_of_the_language():
    # Duden: Dezimalkomma, Punkt nach der Ordnungszahl, Komma nach dem Wochentag.
    assert GERMAN.minutes(2334.0) == "38,9 min"
    assert ENGLISH.minutes(2334.0) == "38.9 min"
    assert GERMAN.day("2031-03-05T00:30:00+01:00") == "Mittwoch, 5. März 2031"
    assert ENGLISH.day("2031-03-05T00:30:00+01:00") == "Wednesday 5 March 2031"
    assert GERMAN("proof.at_most", gap_pct=1.84, taken="38,9 min").startswith(
        "Bewiesen: höchstens 1,8 % der 38,9 min"
    )


def test_one_and_many():
    assert [GERMAN.count(n, "stroke") for n in (0, 1, 2)] == ["0 Hübe", "1 Hub", "2 Hübe"]
    assert GERMAN.listed(["a", "b", "c"]) == "a, b und c"
    assert ENGLISH.listed(["a"]) == "a"
    assert ENGLISH.listed([]) == ""


def test_names_are_made_of_others_and_a_family_has_its_own_word():
    assert GERMAN.name("bucket") == "Löffel"
    assert GERMAN.name("bucket", "loader") == "Schaufel"
    assert GERMAN.name("left bucket", "loader") == "Schaufel links"
    assert GERMAN.name("some part of the site's own") == "some part of the site's own"
    assert ENGLISH.name("left bucket") == "left bucket"


def names_of(machine):
    """Every name and sentence of a type that people read."""
    yield from (machine.title, *(link.name for link in machine.links))
    for joint in machine.joints:
        yield from (joint.name, joint.kind, *(fitting.name for fitting in joint.fittings))
        if joint.procedure:
            yield from (step.do for step in joint.procedure.steps)
    for look in machine.looks:
        yield from (look.name, look.what)
    yield from (each.name for each in getattr(machine, "postures", ()))
    yield from (each.name for each in getattr(machine, "decks", ()))
    yield from (each.name for each in machine.cylinders)


@pytest.mark.parametrize("name", shelf_names())
def test_every_name_of_a_shelf_type_has_its_german(name):
    machine = shelf_type(name)
    known = {each: GERMAN.name(each, machine.family) for each in names_of(machine)}
    assert [
        each for each, german in known.items() if german == each and each != "Grader, 18 t"
    ] == []
    assert GERMAN.name(machine.family) != machine.family or machine.family == "grader"


def test_every_name_of_an_attachment_has_its_german():
    for attachment in shelf_attachments().values():
        for each in names_of(attachment):
            assert GERMAN.name(each) != each, each


@pytest.mark.parametrize(
    ("english", "german"),
    [
        ("hidden behind left boom cylinder", "verdeckt von: Auslegerzylinder links"),
        ("arm 0.25 m too short", "Arm 0,25 m zu kurz"),
        ("from the left platform", "von der Maschine aus: Bühne links"),
        (
            "12.5 h since last greasing, every 9 h (shortened for dust): 3.5 h over",
            "12,5 h seit dem letzten Abschmieren, alle 9 h (verkürzt wegen dust): 3,5 h überfällig",
        ),
        ("move it to posture raised", "umstellen: Stellung »angehoben«"),
        ("move it to the service position", "umstellen: die Wartungsstellung"),
        ("said by nobody", "said by nobody"),
        (
            "no gun fits: gun lever holds plain: wants NLGI 0 or 00, this is 2; gun two has no "
            "coupler for conical, flush heads",
            "keine Fettpresse passt: in lever ist plain: verlangt NLGI 0 oder 00, dies ist 2; two "
            "hat keine Kupplung für Kegelnippel, Flachnippel",
        ),
    ],
)
def test_sentences_of_a_plan_are_found_again(english, german):
    assert GERMAN.sentence(english) == german
    assert ENGLISH.sentence(english) == english


@pytest.mark.parametrize(
    ("want", "has"),
    [
        ({"purpose": "crusher maker's own"}, {}),
        ({}, {"purpose": "crusher maker's own"}),
        ({"nlgi": ("0", "00")}, {}),
        ({"nlgi": ("1",)}, {}),
        ({"thickener": "calcium"}, {}),
        ({"moly": True}, {}),
        ({"moly": False}, {"moly": True}),
        ({"code": "KP2K-30"}, {}),
        ({"code": "KP2K-30"}, {"code": "K2K-30"}),
        ({"code": "KPF2K-30"}, {"code": "KP2K-30"}),
        ({"code": "KP2N-30"}, {"code": "KP2K-30"}),
        ({"code": "KP2K-30"}, {"code": "KP2K-20"}),
        ({"code": "house grease 7"}, {"code": "house grease 8"}),
    ],
)
def test_what_a_grease_lacks_is_told_in_german(want, has):
    """What is written beside the table is found by it: no English is left but names."""
    grease = Grease(**{"name": "g", "nlgi": "2", "thickener": "lithium complex", **has})
    told = misfits(GreaseWant(**want), grease)
    assert told
    for text in told:
        assert not re.search(r"\b(wants|this|has|is|must|ask)\b", GERMAN.sentence(text)), text


def test_a_sentence_made_from_the_table_comes_back_whole():
    """Whatever stands at its placeholders: what was made in English is found as that text."""
    for key, text in ENGLISH.section("plan").items():
        values = {name: "12" for name in placeholders(text)[0]}
        made = ENGLISH(f"plan.{key}", **values)
        assert GERMAN.sentence(made) != made or key == "due.hours", key  # "12 h" in both


ENGLISH_WORDS = re.compile(r"\b(the|and|with|of|is|are|every|each|left out|strokes)\b")


@pytest.mark.parametrize("name", ["week.html", "first_day.html", "map.svg"])
def test_a_page_of_a_german_site_is_german(tmp_path, name):
    """No common English word is left but in what the site itself names and in sources."""
    site = replace(read_site(DEMO), language="de", name="Hof")
    text = german_page(site, name, tmp_path)
    assert len(text) > 200
    own = [*(n.notes for n in site.units), *(p.name for p in site.ground.places)]
    for each in (*own, *(rests for rests in RESTS_ON.values())):
        text = text.replace(each, "")
    text = re.sub(r"[^,.]+, [^,.]+, [^,.]+, [^,.]+, front to the right", "", text)  # drawings
    assert [text[m.start() - 30 : m.end() + 30] for m in ENGLISH_WORDS.finditer(text)] == []


def german_page(site, name, folder):
    at = site.planned_for
    file = folder / name
    if name == "map.svg":
        plan = plan_round(site, RoundRequest(at), effort=Effort(1, iterations=200))
        file.write_text(map_svg(site, plan), encoding="utf-8")
    elif name == "week.html":
        span = span_of(site, at, mornings=3, settings=WeekSettings(weeks=20))
        file.write_text(week_html(plan_week(span, plan=None), site), encoding="utf-8")
    else:
        pair = pairing(site, learner=None, mentor=None)
        day = plan_first_day(site, at, pair=pair, settings=DaySettings())
        file.write_text(first_day_html(day, site), encoding="utf-8")
    return shown(file)
