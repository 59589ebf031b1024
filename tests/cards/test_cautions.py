"""Cautions: few at the head, every other at its place, none lost, no foreign paragraphs."""

import re
from dataclasses import replace
from html import unescape

import pytest

from greaseroute.cards import paper
from greaseroute.cards.cautions import (
    OF_COUNTRY,
    RESTS_ON,
    caution_text,
    country_of,
    general_cautions,
    keys_of,
    own_cautions,
    sources,
    stop_cautions,
    told_cautions,
)
from greaseroute.cards.html import card_html
from greaseroute.catalogue.machine_type import CAUTION_KEYS
from greaseroute.catalogue.shelf import shelf_names, shelf_type
from greaseroute.plan.round import GENERAL_CAUTIONS, PlaceCaution
from greaseroute.texts.language import language
from tests.cards.pdf_sheets import sheets


def in_use():
    """Every caution of the shelf: of types, joints and attachments."""
    for name in shelf_names():
        kind = shelf_type(name)
        yield from kind.cautions
        for owner in (*kind.joints, *kind.attachments):
            yield from owner.cautions


def test_at_most_five_hold_everywhere_and_injection_comes_first():
    assert len(general_cautions()) <= 5
    assert general_cautions()[0].key == "INJECT"
    assert all(caution.rests_on for caution in general_cautions())


@pytest.mark.parametrize("code", ["en", "de"])
def test_every_key_has_its_words_and_its_source(code):
    assert RESTS_ON.keys() >= CAUTION_KEYS
    texts = [caution_text(key, language(code)) for key in RESTS_ON]
    assert len(set(texts)) == len(texts)
    assert all(RESTS_ON.values())


def test_no_bare_key_of_the_shelf_reaches_a_card():
    found = set(in_use())
    assert found & RESTS_ON.keys()  # the shelf does use keys
    bare = {text for text in found if " " not in text}
    assert bare <= RESTS_ON.keys()


def test_a_key_becomes_its_text_and_a_text_stays():
    assert caution_text("ARTIC").startswith("Go between the halves")
    assert caution_text("mind the step") == "mind the step"


def test_a_stop_tells_what_belongs_to_it_once():
    got = stop_cautions(("STOP", "HOT", "mind the step", "HOT"))
    assert got == ("Let hot parts cool. Wipe the fitting before and after.", "mind the step")


def test_own_cautions_leave_out_what_is_known():
    hot = caution_text("HOT")
    assert own_cautions(("HOT", hot, "mind the step")) == ["mind the step"]


def test_places_of_one_key_share_its_text():
    way, stand = (PlaceCaution(key="WATER", where=at) for at in ("pond, 2.0 m", "pond, 1.6 m"))
    (told,) = told_cautions((way, stand, way))
    assert (told.key, told.where) == ("WATER", "pond, 2.0 m; pond, 1.6 m")


@pytest.fixture(scope="module")
def all_keys(plan):
    """The sample plan with every key there is, shared out over legs, places, machines, way back."""
    keys = [key for key in RESTS_ON if key not in GENERAL_CAUTIONS]
    (walk,) = plan.technicians
    lists = 3 * len(walk.stops)  # of the leg, the place and the machine; the way home is one more
    shares = [keys[k :: lists - 1] for k in range(lists - 1)]  # the last stop is a store
    at = [tuple(PlaceCaution(key=key, where=f"here{key}") for key in share) for share in shares]
    stops = tuple(
        stop.model_copy(update={"way_cautions": at[3 * k], "place_cautions": at[3 * k + 1],
                                "cautions": () if stop.reload else tuple(shares[3 * k + 2])})
        for k, stop in enumerate(walk.stops)
    )  # fmt: skip
    home = (PlaceCaution(key="ALONE", where="back"), PlaceCaution(key="RAIL", where="the way home"))
    walk = walk.model_copy(update={"stops": stops, "home_cautions": home})
    return plan.model_copy(update={"technicians": (walk,), "cautions": GENERAL_CAUTIONS})


def test_the_plan_with_all_keys_gives_rise_to_each(all_keys):
    assert keys_of(all_keys) == tuple(RESTS_ON)


def test_every_caution_of_a_plan_stands_on_the_card(all_keys, yard):
    text = page_words(card_html(all_keys, yard))
    assert [key for key in RESTS_ON if caution_text(key) not in text] == []
    at_places = [c for s in all_keys.technicians[0].stops
                 for c in (*s.way_cautions, *s.place_cautions)]  # fmt: skip
    assert at_places
    assert [c.where for c in at_places if c.where not in text] == []


def test_every_caution_of_a_plan_stands_on_the_pocket_list(all_keys, yard):
    text = pdf_words(paper.card_pdf(all_keys, yard))
    assert [key for key in RESTS_ON if re.sub(r"\W+", "", caution_text(key)) not in text] == []


def page_words(page: str) -> str:
    """What is read on a page, without its scripts."""
    shown = re.sub(r"<(script|style)\b.*?</\1>", "", page, flags=re.DOTALL)
    return " ".join(unescape(re.sub(r"<[^>]+>", "", shown)).split())


def pdf_words(data: bytes) -> str:
    """The letters and figures of a PDF without blanks: lines break anywhere."""
    return re.sub(r"\W+", "", "".join(sheets(data)))


def test_the_head_of_the_card_has_at_most_five_and_no_source(all_keys, yard):
    page = card_html(all_keys, yard)
    head = page.split('<ul class="cautions">')[1].split("</ul>")[0]
    assert head.count("<li>") == len(GENERAL_CAUTIONS) <= 5
    assert not any(rests in page.split('id="end"')[0] for rests in RESTS_ON.values())


def test_a_caution_stands_at_its_stop_and_at_no_other(all_keys, yard):
    page = card_html(all_keys, yard)
    parts = re.split(r'(?=<section class="stop)', page)[1:]
    own = [{c.key for c in (*s.way_cautions, *s.place_cautions)}
           for s in all_keys.technicians[0].stops]  # fmt: skip
    own[-1] |= {c.key for c in all_keys.technicians[0].home_cautions}
    found = [set(re.findall(r'data-key="(\w+)"', part)) for part in parts]
    assert found == own


def test_a_german_card_tells_every_caution_in_german(all_keys, yard):
    page = page_words(card_html(all_keys, replace(yard, language="de")))
    german, english = language("de"), language("en")
    assert [key for key in RESTS_ON if caution_text(key, german) not in page] == []
    assert [key for key in RESTS_ON if caution_text(key, english) in page] == []


def test_a_german_pocket_list_tells_every_caution_in_german(all_keys, yard):
    text = pdf_words(paper.card_pdf(all_keys, replace(yard, language="de")))
    german = language("de")
    assert [k for k in RESTS_ON if re.sub(r"\W+", "", caution_text(k, german)) not in text] == []


@pytest.mark.parametrize(
    ("zone", "country"),
    [("America/Denver", "US"), ("Europe/London", "GB"), ("Europe/Berlin", "DE"), ("Etc/GMT", "")],
)
def test_rules_of_a_country_stand_on_its_own_cards_only(all_keys, zone, country):
    assert country_of(zone) == country
    told = " ".join(source for source, _ in sources(all_keys, zone))
    for code, texts in OF_COUNTRY.items():
        assert all((text in told) == (code == country) for text in texts.values())


def test_every_key_of_a_plan_has_its_source_at_the_back_once(all_keys):
    keys = ", ".join(keys for _, keys in sources(all_keys, "Europe/Berlin")).split(", ")
    assert sorted(keys) == sorted(RESTS_ON)
