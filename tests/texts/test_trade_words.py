"""No word that the trade does not use is left on anything that is handed out, in any language."""

from pathlib import Path

import pytest

from greaseroute.catalogue.shelf import shelf_attachments, shelf_names, shelf_type
from greaseroute.cli.explain import entries, line
from greaseroute.cli.main import COMMANDS, top_parser, verb_parser
from greaseroute.texts.language import language, languages
from tests.trade_words import NOT_OURS, everything_of, found, verb

DEMOS = Path(__file__).parents[2] / "sites_demo"
SMALL = (("three_machines", "en"), ("three_machines", "de"), ("rental_ostrumby", "de"))
ALL = sorted(p.name for p in DEMOS.iterdir() if p.is_dir())


def test_the_list_finds_what_it_is_for():
    text = "2 cartridges: 1 of these go in. The left look points, boom root (remote head)."
    assert len(found(text)) == 4
    assert found("If grease does not go in, stop. It looks like a fitting.") == []
    assert found("the pinion grease bath") == []
    assert len(NOT_OURS) >= 30


@pytest.mark.parametrize("code", languages())
def test_no_text_of_the_table_holds_one(code):
    for key, text in language(code).texts.items():
        for form in (text,) if isinstance(text, str) else text:
            assert found(form) == [], key


@pytest.mark.parametrize("name", [*shelf_names(), "attachments"])
def test_no_type_holds_one(name):
    machines = shelf_attachments().values() if name == "attachments" else [shelf_type(name)]
    for machine in machines:
        shown = [machine.title, machine.origin, *machine.cautions]
        shown += [link.name for link in machine.links] + [c.name for c in machine.cylinders]
        shown += [text for look in machine.looks for text in (look.name, look.what)]
        for joint in machine.joints:
            shown += [joint.name, joint.kind, *(fitting.name for fitting in joint.fittings)]
            shown += [step.do for step in joint.procedure.steps] if joint.procedure else []
        assert [each for text in shown for each in found(text)] == []


def test_no_meaning_of_a_word_holds_one():
    told = [line(entry) for entry in entries() if entry["where"] == "words"]
    assert [each for text in told for each in found(text)] == []


@pytest.mark.parametrize("name", COMMANDS)
def test_no_help_holds_one(name):
    assert found(top_parser().format_help()) == []
    assert found(verb_parser(name).format_help()) == []


@pytest.mark.parametrize("language", languages())
@pytest.mark.parametrize("name", ALL)
def test_no_check_list_or_due_list_of_a_demo_site_holds_one(name, language):
    for words in (("check",), ("due",), ("due", "--all")):
        shown = verb(words[0], DEMOS / name, *words[1:], "--language", language)
        assert found(shown) == [], words


@pytest.mark.parametrize(("name", "language"), SMALL)
def test_nothing_that_is_written_for_a_demo_site_holds_one(tmp_path, name, language):
    texts = everything_of(DEMOS / name, tmp_path, "--language", language)
    assert len(texts) >= 12
    assert [(output, *each) for output, text in texts.items() for each in found(text)] == []
