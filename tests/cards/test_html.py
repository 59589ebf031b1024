"""The card: whole without a network or a script, in the right order, safe against names."""

import base64
import hashlib
import json
import math
import re
from dataclasses import replace
from html import unescape
from html.parser import HTMLParser

import pytest

from greaseroute.cards.card_stops import minded
from greaseroute.cards.cautions import AID, general_cautions
from greaseroute.cards.html import card_html
from greaseroute.cards.legs import DIRECTIONS, Mind
from greaseroute.ledger.receipt import REASONS
from greaseroute.plan.handed_out import round_id
from greaseroute.plan.round import Bound
from greaseroute.texts.language import ENGLISH, language
from tests.cards import sample

VOID = {"col", "meta", "input", "br", "link", "img", "hr"}


class Reader(HTMLParser):
    """Collects what the tests ask about and fails on tags that do not close."""

    def __init__(self):
        super().__init__(convert_charrefs=True)
        self.open, self.tags, self.rows, self.text, self.links = [], [], [], [], []

    def handle_starttag(self, tag, attrs):
        found = dict(attrs)
        self.tags.append((tag, found))
        self.links += [
            v for k, v in found.items() if k in ("href", "src", "action", "data", "srcset")
        ]
        kinds = (found.get("class") or "").split()
        if "stop" in kinds:
            self.unit = found["data-unit"]
        if "row" in kinds:
            self.rows.append({**found, "data-unit": self.unit})
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag, attrs):
        self.tags.append((tag, dict(attrs)))

    def handle_endtag(self, tag):
        assert self.open, f"</{tag}> closes nothing"
        assert self.open.pop() == tag

    def handle_data(self, data):
        if self.open and self.open[-1] not in ("style", "script"):
            self.text.append(data)

    @property
    def words(self):
        return " ".join(" ".join(self.text).split())


def read(page):
    reader = Reader()
    reader.feed(page)
    reader.close()
    assert reader.open == []
    return reader


@pytest.fixture(scope="module")
def page(plan, yard):
    return card_html(plan, yard)


@pytest.fixture(scope="module")
def card(page):
    return read(page)


@pytest.mark.parametrize(
    ("what", "name", "wait_s", "english"),
    [
        ("crossing", "crossing at the face", 30.0,
         "crossing at the face: look both ways, allow 30 s"),
        ("crossing", "at the face", 30.0, "crossing at the face: look both ways, allow 30 s"),
        ("crossing", "Fußgängerübergang", 0.0, "Fußgängerübergang"),
        ("gate", "depot gate", 0.0, "depot gate"),
        ("gate", "gangway", 0.0, "gate gangway"),
        ("gate", "rail crossing west", 0.0, "gate rail crossing west"),
    ],
)  # fmt: skip
def test_a_name_that_says_what_it_is_has_no_word_for_that_before_it(what, name, wait_s, english):
    key, values = minded(Mind(what, name, wait_s))
    assert ENGLISH(f"card.{key}", **values) == english


def test_same_plan_and_site_give_the_same_bytes(page, yard):
    again = sample.site()
    assert card_html(sample.plan(again), again) == page


def test_nothing_is_loaded_from_anywhere(page, card):
    assert all(link.startswith("#") for link in card.links)
    assert {tag for tag, _ in card.tags} & {
        "link",
        "img",
        "iframe",
        "object",
        "base",
        "form",
    } == set()
    # The name of SVG's own namespace is the one address allowed; it is never fetched.
    rest = page.replace("http://www.w3.org/2000/svg", "")
    assert re.search(r"https?:|//[a-z]|url\(|@import", rest) is None


def test_links_lead_somewhere_and_ids_are_single(card):
    ids = [found["id"] for _, found in card.tags if "id" in found]
    assert len(ids) == len(set(ids))
    assert {link[1:] for link in card.links} <= set(ids)


def test_only_its_own_script_may_run(page):
    scripts = re.findall(r"<script>(.*?)</script>", page, flags=re.S)
    assert len(scripts) == 1
    digest = base64.b64encode(hashlib.sha256(scripts[0].encode()).digest()).decode()
    assert (
        f"script-src &#39;sha256-{digest}&#39;" in page or f"script-src 'sha256-{digest}'" in page
    )
    assert "default-src 'none'" in page
    assert re.search(r"\son[a-z]+=", page) is None


def test_every_fitting_stands_there_once_and_in_the_order_pumped(card, plan):
    wanted = [
        (stop.unit, task.joint, task.fitting, str(task.strokes))
        for walk in plan.technicians
        for stop in walk.stops
        for stand in stop.stands
        for task in stand.fittings
    ]
    got = [
        (r["data-unit"], r["data-joint"], r["data-fitting"], r["data-strokes"])
        for r in card.rows
        if "data-joint" in r
    ]
    assert got == wanted


def test_look_points_have_their_own_tick(card):
    assert [r["data-look"] for r in card.rows if "data-look" in r] == ["coolant"]


def test_a_cartridge_change_stands_right_before_its_fitting(page):
    change = page.index("Fit a new cartridge of plain into the gun lever")
    first = page.index('class="row"')
    assert change < first
    assert page.count('class="change"') == 1


def test_several_cartridges_for_one_dose_are_told_apart(plan, yard):
    page = card_html(_first_task(plan, put_in=3), yard)
    assert "Fit 3 new cartridges, one after the other, of plain into the gun lever" in page


def _first_task(plan, **changes):
    """The plan with its very first fitting changed."""
    walk = plan.technicians[0]
    stop = walk.stops[0]
    stand = stop.stands[0]
    task = stand.fittings[0].model_copy(update=changes)
    stand = stand.model_copy(update={"fittings": (task, *stand.fittings[1:])})
    stop = stop.model_copy(update={"stands": (stand, *stop.stands[1:])})
    walk = walk.model_copy(update={"stops": (stop, *walk.stops[1:])})
    return plan.model_copy(update={"technicians": (walk,)})


def test_drawings_number_each_unit_in_pumping_order(page, plan):
    stop = page.split('id="stop1"')[1].split('id="stop2"')[0]
    _, side, top = re.findall(r"<svg.*?</svg>", stop, flags=re.S)  # the first is the leg
    for drawing in (side, top):
        numbers = re.findall(r'class="m-t">(\d+)</text>', drawing)
        assert sorted(numbers, key=int) == ["1", "2", "3", "4"]  # the digger's four fittings
        assert drawing.count('class="m-no"') == 2  # a cross on either track-tension place
    assert re.findall(r'm-foot-t">([a-z])<', top) == ["a", "b", "c", "d"]
    assert "m-foot-t" not in side


def test_what_is_told_without_colour(card):
    for text in (
        "Never pump :",
        "a cross on the drawing",
        "the black square is where you stand",
        "2 items are left out",
        "standing",
        "First : climb the left steps",
        "Fill the bag",
        "Take 2 cartridges of plain",
        "walk of Ada",
    ):
        assert text in card.words


def test_cautions_and_the_aid_line_are_there_word_for_word(card):
    assert AID in card.words
    assert all(caution.text in card.words for caution in general_cautions())
    head, back = card.words.split("What the cautions rest on")
    assert not any(caution.rests_on in head for caution in general_cautions())
    assert all(caution.rests_on in back for caution in general_cautions())


def test_a_stop_repeats_only_the_cautions_of_its_own_machine(page):
    stop = page.split('id="stop1"')[1].split('id="stop2"')[0]
    assert "The track-tension fitting looks like a grease fitting and is not one." in stop
    assert "Stop the engine, lower every implement" not in stop  # STOP holds at every stop
    assert "The cautions at the head of this card hold here as well." in stop
    assert "stop the engine" in stop  # the step of isolation


def test_left_out_look_only_and_never_pump_are_listed_with_reasons(card):
    assert (
        "out of reach in the posture it stands in . What would help: lower the body" in card.words
    )
    assert "HT-06: body pivot ( 2 h overdue ), steering pivot (pin)" in card.words
    assert "HT-02: centre hinge, fed by a central system" in card.words
    assert "EX-01: track tension, left" in card.words


def test_nothing_left_out_is_said(plan, yard):
    assert "Nothing that is due." in card_html(plan.model_copy(update={"left": ()}), yard)


def test_the_certificate_is_on_the_card(card, plan, yard):
    assert "Proved: at most 1.8 % of the 38.9 min" in card.words
    bound = Bound(lower_s=0, value_s=1, gap_pct=None, what="")
    assert "Not proved" in card_html(plan.model_copy(update={"bound": bound}), yard)


def test_what_to_carry_names_grease_gun_and_numbers(page):
    table = page.split('class="bag"')[1].split("</table>")[0]
    cells = re.findall(r"<td[^>]*>(.*?)</td>", table)
    assert [re.sub("<.*?>", " ", cell).split() for cell in cells] == [
        ["plain", "lever"], ["2"], ["1"], ["1"],
    ]  # fmt: skip


def test_names_from_the_site_cannot_become_markup():
    evil = '</script><img src=x onerror="alert(1)">&\'"'
    yard = sample.site(name=evil)
    units = (yard.units[0].model_copy(update={"notes": evil}), *yard.units[1:])
    yard = replace(yard, units=units)
    plan = _first_task(sample.plan(yard), joint=evil, grease=evil)
    walk = plan.technicians[0].model_copy(update={"name": evil})
    plan = plan.model_copy(update={"technicians": (walk,), "notes": (evil,)})
    card = read(card_html(plan, yard))
    assert {tag for tag, _ in card.tags} & {"img"} == set()
    assert card.rows[0]["data-joint"] == evil
    assert [f["data-technician"] for _, f in card.tags if "data-technician" in f] == [evil]
    assert evil in " ".join(card.text)


def test_the_data_block_names_round_and_reasons(page, plan):
    block = re.search(r'<script type="application/json" id="round">(.*?)</script>', page)[1]
    data = json.loads(block)
    assert data["format"] == "greaseroute card 2"
    assert data["round"] == round_id(plan)
    assert data["reasons"] == list(REASONS)


def test_another_plan_is_another_round(plan):
    assert round_id(plan.model_copy(update={"seed": 2})) != round_id(plan)
    assert re.fullmatch("[0-9a-f]{16}", round_id(plan))


def test_every_fixed_word_is_said_with_its_key(page):
    # The script says them anew in another language; a text without its key would stay behind.
    words = language("en").section("card")
    keys = re.findall(r'data-w="([^"]+)"', page)
    assert set(keys) <= words.keys()
    assert {"isolate", "carry", "hand_in", "way"} <= set(keys)
    for key, text in re.findall(r'data-w="([^"]+)">([^<]*)</span>', page):
        assert unescape(text) == words[key]


def test_a_leg_is_sketched_with_its_length_and_direction(card, plan):
    # From the store at (6, 6) to the digger, by Pythagoras and by the quarter it lies in.
    (x0, y0), (x1, y1) = plan.technicians[0].stops[0].path
    metres = f"{math.hypot(x1 - x0, y1 - y0):.0f}"
    stop = next(f for _, f in card.tags if f.get("id") == "stop1")
    bearing = math.degrees(math.atan2(x1 - x0, y1 - y0)) % 360
    assert (stop["data-m"], stop["data-bearing"]) == (metres, f"{bearing:.0f}")
    assert abs(DIRECTIONS.index(stop["data-way"]) * 45 - bearing) % 360 <= 22.5


def test_two_technicians_have_their_own_parts(yard):
    page = card_html(sample.plan(yard, technicians=("Ada", "Bo")), yard)
    card = read(page)
    assert re.findall(r'id="stop([AB]\d)"', page) == ["A1", "A2", "A3", "B1", "B2"]
    assert [f["data-technician"] for _, f in card.tags if "data-technician" in f] == ["Ada", "Bo"]


def test_a_unit_in_two_postures_is_drawn_in_both(plan, yard):
    walk = plan.technicians[0]
    stop = walk.stops[0]
    kind = yard.types["sample-digger"]
    out = kind.postures[0].model_copy(
        update={
            "name": "greasing",
            "title": "arm out",
            "angles_deg": {"boom": 5, "arm": -40, "bucket": 0},
        }
    )
    kinds = {**yard.types, kind.name: kind.model_copy(update={"postures": (*kind.postures, out)})}
    last = stop.stands[-1].model_copy(update={"posture": "greasing"})
    stop = stop.model_copy(update={"stands": (*stop.stands[:-1], last)})
    walk = walk.model_copy(update={"stops": (stop,)})
    page = card_html(plan.model_copy(update={"technicians": (walk,)}), replace(yard, types=kinds))
    read(page)
    part = page.split('id="stop1"')[1].split('id="list"')[0]
    assert part.count("<svg") == 1 + 4
    assert "It stands in: greasing</span>: <span data-n>arm out</span>" in part
    # Numbers and letters run on; they do not start again.
    assert re.findall(r'class="no">(\w+)<', part) == ["1", "2", "L1", "3", "4"]
    assert re.findall(r'class="sq">(\w)<', part) == ["a", "b", "c", "d"]


def test_heights_are_told_from_where_one_stands(plan, yard):
    walk = plan.technicians[0]
    stop = walk.stops[0]
    stand = stop.stands[0].model_copy(update={"deck": "left deck", "height_m": 1.0})
    stop = stop.model_copy(update={"stands": (stand,)})
    walk = walk.model_copy(update={"stops": (stop,)})
    card = read(card_html(plan.model_copy(update={"technicians": (walk,)}), yard))
    # The boom root sits 1.0 + 0.7 m above ground, so 0.7 m above a deck of 1.0 m.
    assert "0.7 m, standing" in card.words
    assert "on the left deck, 1.0 m up" in card.words


def test_a_machine_moved_first_is_not_isolated_before_that(plan, yard):
    def first_stop(plan):
        return card_html(plan, yard).split('id="stop1"')[1].split('id="stop2"')[0]

    moved = first_stop(sample.moved_first(plan))
    assert "It is moved first, then isolated" in moved
    assert 'class="iso"' not in moved
    assert moved.count("stop the engine") == 1  # among the steps of the call alone
    steps = tuple(sample.StepTask(do=each, isolates=True) for each in ("stop the engine",))
    both = first_stop(sample.moved_first(plan, isolated=steps))
    assert "moved first" not in both
    assert both.count("stop the engine") == 2  # before the call, and again after it
