"""Cautions: every key in use has its words."""

from greaseroute.cards.cautions import (
    BEFORE_YOU_START,
    OF_ONE_MACHINE,
    caution_text,
    own_cautions,
    stop_cautions,
)
from greaseroute.catalogue.shelf import shelf_names, shelf_type

KEYS = {caution.key for caution in BEFORE_YOU_START}


def in_use():
    """Every caution of the shelf: of types, joints and attachments."""
    for name in shelf_names():
        kind = shelf_type(name)
        yield from kind.cautions
        for owner in (*kind.joints, *kind.attachments):
            yield from owner.cautions


def test_keys_are_single_and_every_caution_says_what_it_rests_on():
    assert len(KEYS) == len(BEFORE_YOU_START) == 18
    assert set(OF_ONE_MACHINE) <= KEYS
    assert all(caution.rests_on for caution in BEFORE_YOU_START)


def test_no_bare_key_of_the_shelf_reaches_a_card():
    found = set(in_use())
    assert found & KEYS  # the shelf does use keys
    bare = {text for text in found if " " not in text}
    assert bare <= KEYS


def test_a_key_becomes_its_text_and_a_text_stays():
    assert caution_text("ARTIC").startswith("Go between the halves")
    assert caution_text("mind the step") == "mind the step"


def test_a_stop_tells_what_belongs_to_it_once():
    got = stop_cautions(("STOP", "HOT", "mind the step", "HOT"))
    assert got == ("Let hot parts cool. Wipe the fitting before and after.", "mind the step")


def test_own_cautions_leave_out_the_standing_list():
    hot = caution_text("HOT")
    assert own_cautions(("HOT", hot, "mind the step")) == ["mind the step"]
