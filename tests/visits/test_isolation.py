"""Steps of isolation by family: each brings its own; the time is that of the rules."""

import pytest

from greaseroute.catalogue.shelf import shelf_names, shelf_type
from greaseroute.site.crew import WorkingRules
from greaseroute.texts.language import ENGLISH, language
from greaseroute.visits.isolation import isolation_ms, isolation_steps

RULES = WorkingRules(isolation_s=97.0)


def texts(name):
    return [text for text, _ in isolation_steps(shelf_type(name), RULES)]


@pytest.mark.parametrize("name", shelf_names())
def test_the_steps_take_the_time_of_the_rules_and_end_locked_and_tried(name):
    steps = isolation_steps(shelf_type(name), RULES)
    assert sum(spent for _, spent in steps) == 97_000 == isolation_ms(shelf_type(name), RULES)
    assert all(spent > 0 for _, spent in steps)
    words = texts(name)
    assert words.index("key out, isolator off") < words.index("your own lock and tag on it")
    assert "your own lock and tag on it" in words
    assert words[-1] == "try to start it: it must not"  # whatever holds it in place comes before


@pytest.mark.parametrize(
    ("step", "has", "has_not"),
    [
        ("a chock before and behind a wheel", "grader-18t", "crawler-excavator-22t"),
        ("frame lock of the articulation in", "wheel-loader-20t", "crawler-dozer-20t"),
        ("wait until the flywheel stands still", "mobile-jaw-crusher-45t", "mobile-screen-28t"),
        ("feeder stopped and locked off as well", "mobile-screen-28t", "mobile-conveyor-12t"),
        ("belt empty or held: it must not run back", "mobile-conveyor-12t", "grader-18t"),
        ("charging cable out, battery plug pulled", "scissor-platform-3t", "grader-18t"),
        ("every implement down on the ground", "grader-18t", "mobile-jaw-crusher-45t"),
        ("up to the cab or the isolator and down again", "grader-18t", "mini-excavator-1.8t"),
    ],
)
def test_a_family_has_its_own_steps(step, has, has_not):
    assert step in texts(has)
    assert step not in texts(has_not)


def test_every_step_is_known_in_other_languages():
    known = set(ENGLISH.section("plan.isolation").values()) | {
        text for key, text in ENGLISH.texts.items() if ".isolation." in f".{key}"
    }
    for name in shelf_names():
        for text in texts(name):
            assert text in known
            assert language("de").sentence(text) != text
