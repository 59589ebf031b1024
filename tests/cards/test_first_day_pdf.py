"""The first day's sheets, read back from the PDF by another program (pypdf), lesson by lesson."""

import re
from dataclasses import replace
from pathlib import Path

import pytest

from greaseroute.cards.cautions import caution_text, general_cautions
from greaseroute.cards.first_day_html import SMALL, learner_walks, not_met_rows
from greaseroute.cards.first_day_pdf import first_day_pdf
from greaseroute.cards.lessons import glossary, lesson_of, questions, troubles
from greaseroute.cards.typesetter import MM_PER_PX, WIDEST_MM
from greaseroute.plan.first_day import NotMet, SkipStop
from greaseroute.plan.round import LeftOut, PlaceCaution
from greaseroute.site.folder import read_site
from greaseroute.training.choice import DaySettings
from greaseroute.training.day import pairing
from greaseroute.training.first_day import plan_first_day
from tests.cards.pdf_sheets import sheets

pytest.importorskip("typst")
DEMO = Path(__file__).parents[2] / "sites_demo" / "three_machines"


def from_here(text, words):
    """The text from the words on, which have to be in it."""
    assert words in text, words
    return text[text.index(words) :]


def hold_all(first, site, text):
    """No machine, lesson, time, stroke, caution or trouble is missing, and all stand in order."""
    hold_stops(first, site.say, text)
    hold_kinds(first, site.say, text)
    hold_days_after(first, site.say, text)


def hold_stops(first, say, text):
    """The overview, then the machines with their lessons, in the order walked."""
    walk = from_here(text, say("first_day.walk"))
    for stop in first.stops:
        walk = from_here(walk, f"{say.clock(stop.arrive)}\u2013{say.clock(stop.leave)} {stop.unit}")
        for lesson in stop.lessons:
            walk = from_here(walk, say.name(lesson.joint, stop.family))
    strokes = 0
    rest = from_here(walk, say("first_day.marks"))  # behind the map, which names machines too
    for number, stop in enumerate(first.stops, 1):
        rest = from_here(rest, f"{number} {stop.unit}")
        end = (
            rest.find(f"{number + 1} {first.stops[number].unit}")
            if number < len(first.stops)
            else -1
        )
        own = rest[:end]
        assert f"{say.clock(stop.arrive)}\u2013{say.clock(stop.leave)}" in own
        shown = say("first_day.shows", minutes=stop.shown_s / 60, mentor=say.name(first.mentor))
        assert stop.shown_s < 1 or shown in own
        for lesson in stop.lessons:
            assert say.name(lesson.joint, stop.family) in own, lesson
            assert f"{lesson.gun} ({lesson.grease})" in own, lesson
            assert say("first_day.paper.takes", s=lesson.learner_s) in own, lesson
        strokes += sum(int(n) for n in re.findall(r"(\d+)\u00d7", own))
    assert strokes == sum(each.strokes for stop in first.stops for each in stop.lessons)


def hold_kinds(first, say, text):
    """What holds for all machines stands once."""
    for kind in dict.fromkeys(each.kind for stop in first.stops for each in stop.lessons):
        assert text.count(lesson_of(kind, say).what) == 1
    assert all(text.count(f" {caution.text}") == 1 for caution in general_cautions(say))
    for trouble in troubles(say):
        assert trouble.do in text
    assert all(each in text for each in questions(say))
    assert all(f"{each.word}: {each.meaning}" in text for each in glossary(say))


def hold_days_after(first, say, text):
    """What comes later or not at all, and what is done when late."""
    for later in first.later:
        assert say("first_day.day_about", day=later.day, minutes=later.minutes) in text
        assert all(say.name(each.joint, each.family) in text for each in later.lessons)
    for family, kinds, why in not_met_rows(first):
        assert (
            f"{say.name(family)}: {say.listed(map(say.name, kinds))}; {say.sentence(why)}" in text
        )
    for left in first.left:
        assert f"{left.unit} {say.name(left.joint)}: {say.sentence(left.reason)}" in text
    for skip in first.skip_when_late if len(first.skip_when_late) > 1 else ():
        assert f"{skip.unit} ({say.number(skip.minutes)} min, " in text
    assert say("first_day.mentor_walks", mentor=capital(say.name(first.mentor)),
               minutes=first.mentor_min, shown=first.mentor_shows_min) in text  # fmt: skip


def capital(text):
    return text[:1].upper() + text[1:]


@pytest.fixture(scope="module")
def yard():
    return read_site(DEMO)


@pytest.fixture(scope="module")
def day(yard):
    pair = pairing(yard, learner=None, mentor=None)
    return plan_first_day(yard, yard.planned_for, pair=pair, settings=DaySettings())


@pytest.mark.parametrize("code", ["en", "de"])
def test_every_lesson_stands_on_paper_in_its_order(day, yard, code):
    site = replace(yard, language=code)
    pages = sheets(first_day_pdf(day, site))
    assert len(pages) <= 5
    hold_all(day, site, " ".join(pages))
    assert "first_day.json" in pages[-1]


def test_the_same_day_gives_the_same_bytes(day, yard):
    walks = learner_walks(day, yard)
    assert first_day_pdf(day, yard, walks=walks) == first_day_pdf(day, yard)


def test_isolation_stands_once_and_each_machine_names_its_way(day, yard):
    text = " ".join(sheets(first_day_pdf(day, yard)))
    ways = {stop.isolation for walk in day.round.technicians for stop in walk.stops}
    machines = from_here(text, "Round numbers are fittings")
    for sign in range(1, len(ways) + 1):
        assert len(re.findall(rf"\bI{sign} 1\. ", text)) == 1
        assert f"Isolate as I{sign}" in machines
    assert machines.count("Isolate as I") == len(day.stops)


def test_a_caution_stands_once_and_its_stop_names_number_and_place(day, yard):
    (walk,) = day.round.technicians
    pond = PlaceCaution(key="WATER", where="pond, 2.0 m")
    own = {"way_cautions": (pond,), "place_cautions": ()}
    met = (day.stops[0].model_copy(update=own), *day.stops[1:])
    machine = walk.stops[0].model_copy(update={"cautions": ("HOT", "ARTIC")})
    back = (PlaceCaution(key="ALONE", where="alone from 05:00"),)
    walk = walk.model_copy(update={"stops": (machine, *walk.stops[1:])})
    plan = day.round.model_copy(update={"technicians": (walk,), "cautions": ("Mind the dog.",)})
    more = {"round": plan, "stops": met, "home_cautions": back}
    text = " ".join(sheets(first_day_pdf(day.model_copy(update=more), yard)))
    general = [c.text for c in general_cautions(yard.say)]
    assert f"1 Mind the dog. 2 {general[0]}" in text
    for k, key in enumerate(("WATER", "HOT", "ARTIC"), len(general) + 2):
        assert text.count(f"{k} {caution_text(key, yard.say)}") == 1
    machines = from_here(text, "Round numbers are fittings")
    first = len(general) + 2
    named = f"cautions {first} (pond, 2.0 m), {first + 1}, {first + 2}"
    assert named in from_here(machines, f"1 {day.stops[0].unit}")
    assert re.search(r"On the way back: \d+ \(alone from 05:00\)", machines)


def test_numbers_in_the_drawings_stand_eight_points_high(day, yard):
    # A point is 25.4 / 72 mm; figures of 10.5 px are the smallest with one or two letters.
    assert 10.5 * MM_PER_PX >= 8 * 25.4 / 72
    for walk in learner_walks(day, yard):
        for drawn in (p for block in walk.stops for p in block.postures):
            for svg in (drawn.side, drawn.top):
                width = float(re.search(r'viewBox="\S+ \S+ (\S+) ', svg).group(1))
                assert SMALL.width_px / 4 < width <= WIDEST_MM / MM_PER_PX


def test_who_else_is_needed_what_is_skipped_and_what_is_not_met_is_told(day, yard):
    stop = day.stops[0]
    helped = (stop.lessons[0].model_copy(update={"second_person": True}), *stop.lessons[1:])
    changed = day.model_copy(
        update={
            "stops": (
                stop.model_copy(
                    update={
                        "lessons": helped,
                        "wait_s": 240.0,
                        "released": "2026-03-03T06:10:00+01:00",
                    }
                ),
                *day.stops[1:],
            ),
            "skip_when_late": tuple(
                SkipStop(unit=s.unit, minutes=7.0 + k, kinds=("pin",))
                for k, s in enumerate(day.stops)
            ),
            "not_met": (NotMet(family="excavator", kind="slide", reason="none is due"),),
            "left": (LeftOut(unit=stop.unit, joint="bucket pin", reason="hidden behind bucket"),),
        }
    )
    text = " ".join(sheets(first_day_pdf(changed, yard)))
    hold_all(changed, yard, text)
    assert text.count("a second person at the controls") >= 2  # overview and stop
    assert "wait 4 min there; it leaves at 06:10" in text
