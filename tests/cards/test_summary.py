"""The terminal summary, whole."""

from greaseroute.cards.summary import WIDTH, summary_text
from greaseroute.plan.round import Bound, PersonCall
from tests.cards import sample

# 398 m is the length of the sample's straight legs; the other figures stand in sample.py.
EXPECTED = """\
Emergency: no number is given in site.toml. Grease under the skin: to hospital
at once, even where it does not hurt; say "high-pressure injection".

Round for Sample yard, Tuesday 4 March 2031; shift starts 07:00
Due: 13 joints with 20 fittings. This plan pumps 18 fittings. Left out: 2, see
below.

Nobody but the technicians is needed.

The walk
                  Ada
  start         05:30
  finish        06:17
  walk, m         398
  walking, min    5.5
  work, min      30.0
  waiting, min    0.3
  units             5
  fittings         18
  strokes          72
  Ada: from store to store

Cartridges to carry
  grease  carry  to fit  reserve  strokes  grams
  plain       2       1        1       60     65

Left out, and why
  - out of reach in the posture it stands in
    what would help: lower the body
      HT-06: body pivot, steering pivot (pin)

Never pump: 1 place on 1 unit (track tension and the like; the card marks each).
Check only, fed by a central system: 1 joint on 1 unit.

How good is this walk?
  Proved: at most 1.8 % of the 38.9 min of walking and moving could be saved.

Read the 5 cautions at the head of the card before the first fitting, and those
of each stop there. This plan is an aid. Follow the machine maker's manual, your
site rules and local law; a competent person decides.
"""


def test_whole_text(plan):
    assert summary_text(plan) == EXPECTED


def test_no_line_is_wider_than_the_terminal(plan):
    assert max(map(len, summary_text(plan).splitlines())) <= WIDTH


def test_a_plan_cut_short_says_so(plan):
    text = summary_text(plan.model_copy(update={"complete": False}))
    assert "Stopped before its end: this is the best plan found until then." in text


def test_nothing_left_out_and_no_bound_are_said_in_words(plan):
    bound = Bound(lower_s=0, value_s=10, gap_pct=None, what="")
    text = summary_text(plan.model_copy(update={"left": (), "bound": bound}))
    assert "Left out: nothing that is due." in text
    assert "Not proved" in text


def test_each_of_several_technicians_is_told_what_to_carry(yard):
    text = summary_text(sample.plan(yard, technicians=("Ada", "Bo")))
    assert "Ada carries 2 of plain" in text
    assert "Bo carries 2 of plain" in text


def test_cautions_of_the_site_are_told_and_standing_ones_left_to_the_card(plan):
    text = summary_text(plan.model_copy(update={"cautions": ("HOT", "mind the crusher")}))
    assert "- Caution: mind the crusher" in text
    assert "HOT" not in text
    assert "Read the 5 cautions at the head of the card before the first fitting" in text


def test_many_technicians_stand_side_by_side_in_blocks_of_four(yard):
    names = ("Ada", "Bo", "Cy", "Di", "A technician of a very long name")
    text = summary_text(sample.plan(yard, technicians=names))
    heads = [line.split() for line in text.splitlines() if "Bo" in line or "A techni" in line]
    assert heads[0] == ["Ada", "Bo", "Cy", "Di"]
    assert heads[1] == ["A", "technician", "o"]  # cut at 14 letters, whole in the lines below
    assert max(map(len, text.splitlines())) <= WIDTH


def test_who_is_needed_stands_before_the_walk(plan):
    call = PersonCall(
        person="Vera", unit="HT-06", technician="Ada", begin="2026-03-02T05:30:00+01:00",
        end="2026-03-02T05:33:00+01:00", posture="greasing", x_m=1.0, y_m=2.0,
    )  # fmt: skip
    text = summary_text(plan.model_copy(update={"people": (call,)}))
    told = "Who is needed, when and where\n  Vera: HT-06, 05:30 to 05:33: the service position\n"
    assert text.index(told) < text.index("The walk")


def test_the_number_of_the_site_is_the_first_line(plan):
    text = summary_text(plan.model_copy(update={"emergency_number": "112"}))
    assert text.startswith("Emergency: call 112. Grease under the skin: to hospital at once")
