"""The card's own code in a real browser: the code it draws, the receipt and the file it makes."""

import io
import json
import random
from datetime import datetime
from importlib.resources import files

import pytest

from greaseroute.ledger.receipt import DEFECTS, REASONS, unpacked
from greaseroute.ledger.receipt_report import read_receipt
from greaseroute.ledger.report import state_of
from tests.ledger.test_receipt import PLAN_ID, plan_of

pytestmark = pytest.mark.browser
segno = pytest.importorskip("segno")
pytest.importorskip("segno.consts")
LETTERS = "ABCDEFGHIJKLMNOPQRSTUVWXYZ234567"


@pytest.fixture(scope="module")
def page(browser):
    templates = files("greaseroute.cards") / "templates"
    page = browser.new_page()
    page.set_content("<!doctype html><title>-</title>")
    for name in ("record.js", "qr.js"):
        page.add_script_tag(content=(templates / name).read_text(encoding="utf-8"))
    yield page
    page.close()


def text_of(length, seed=1):
    rng = random.Random(seed)
    return "GR1" + "".join(rng.choice(LETTERS) for _ in range(length - 4)) + "."


@pytest.mark.parametrize("length", [16, 90, 154, 312, 450, 1100, 2000])
def test_the_code_is_that_of_another_maker(page, length):
    # segno (another implementation of ISO/IEC 18004): the same modules for each of the masks.
    text = text_of(length, seed=length)
    for mask in (0, 5, 7):
        theirs = segno.make(text, error="m", mode="alphanumeric", mask=mask, boost_error=False,
                            micro=False)  # fmt: skip
        ours = page.evaluate("([text, mask]) => QrCode.matrix(text, mask)", [text, mask])
        assert ours == [[bool(module) for module in row] for row in theirs.matrix]


def test_every_version_has_the_room_that_another_maker_gives_it(page):
    consts = segno.consts
    for version in range(1, 41):
        # Of its data bits 4 name the mode, 9, 11 or 13 the length; two letters take 11, one 6.
        bits = consts.SYMBOL_CAPACITY[version][consts.ERROR_LEVEL_M]
        bits -= 4 + (9 if version < 10 else 11 if version < 27 else 13)
        low = 2 * (bits // 11) + (bits % 11 >= 6)
        sizes = page.evaluate(
            "n => [n, n + 1].map(k => (QrCode.matrix('A'.repeat(k), 0) || []).length)", low
        )
        assert sizes[0] == 4 * version + 17
        assert sizes[1] == (4 * version + 21 if version < 40 else 0)


ROUND = """
plan => {
  const store = {};
  const storage = { getItem: k => store[k] ?? null, setItem: (k, v) => { store[k] = v; } };
  window.record = CardRecord.open(plan, storage);
  window.again = () => CardRecord.open(plan, storage);
}
"""


def round_data(plan, meters=None):
    walks = [json.loads(walk.model_dump_json()) for walk in plan.walks]
    return {
        "format": "greaseroute card 2",
        "round": PLAN_ID,
        "site": plan.site,
        "at": plan.at.isoformat(),
        "reasons": list(REASONS),
        "defects": list(DEFECTS),
        "walks": walks,
        "meters": meters or {},
    }


TICKS = [
    {"done": True},
    {"done": True, "strokes": 9},
    {"done": False, "reason": "other", "words": "hose across it \u2603"},
    {"done": False, "reason": "does not take grease"},
    {"done": True, "defect": "leak", "found": "rod seal"},
    {"done": True, "took": True, "strokes": 30},
    {"done": None, "defect": "play"},
]


def test_receipt_and_file_tell_the_same(page):
    now = datetime.now().astimezone().replace(second=0, microsecond=0)
    plan = plan_of([(5, 1), (4, 0), (3, 2)], begun=now)
    page.evaluate(ROUND, round_data(plan))
    for place, told in enumerate(TICKS):
        page.evaluate("([n, told]) => record.setTick(1, n, told)", [place, told])
    page.evaluate("() => record.setCheck(1, 0, {done: true})")
    page.evaluate("() => record.setCheck(1, 2, {done: true, found: 'low'})")
    page.evaluate("() => { record.setMeter('U-0', 6695.8); record.setMeter('U-2', 12, true); }")
    receipt = page.evaluate("() => record.receipt(1)")
    file = json.dumps(page.evaluate("() => record.report(1)"))
    from greaseroute.ledger.card_file import read_card

    from_file, _, faults = read_card(file, "text")
    assert faults == []
    from_receipt, faults = read_receipt(receipt, "text", lambda _: plan)
    assert faults == []
    assert [state_of(e) for e in from_receipt.events] == [state_of(e) for e in from_file.events]
    assert len(from_file.events) == 13
    assert from_receipt.device == from_file.device
    told = unpacked(receipt)
    assert told.minutes == (0, 0, 0)  # ticked within a minute of the plan's moment
    # What is kept on the phone comes back when the card is opened again.
    assert page.evaluate("() => again().receipt(1)")[:40] == receipt[:40]


def test_a_meter_that_cannot_be_right_is_doubted(page):
    plan = plan_of([(1, 0)])
    page.evaluate(ROUND, round_data(plan, {"U-0": [100.0, "2026-10-12T16:00:00+00:00"]}))

    def doubt(hours):
        now = datetime.fromisoformat("2026-10-13T04:00:00+00:00").timestamp() * 1000
        return page.evaluate("([h, now]) => record.meterDoubt('U-0', h, now)", [hours, now])

    assert doubt(99.0) == {"why": "fell", "h": 100}
    assert doubt(112.0) is None  # twelve hours later
    assert doubt(112.2) == {"why": "rose", "h": 100, "day": "2026-10-12"}


def test_the_receipt_of_a_long_walk_fits_one_code_that_a_poor_picture_gives_back(page):
    # 274 fittings at 24 stops, 20 of them otherwise, all meters: the longer walk of the demo
    # quarry. The picture is turned by 7 degrees and shrunk to 300 pixels.
    image = pytest.importorskip("PIL.Image")
    pytest.importorskip("zxingcpp")
    from greaseroute.ledger.photo import receipt_in_picture

    rng = random.Random(4)
    counts = [12] * 10 + [11] * 14
    plan = plan_of([(count, 0) for count in counts])
    page.evaluate(ROUND, round_data(plan))
    ticks = [{"done": True}] * sum(counts)
    for place in rng.sample(range(len(ticks)), 20):
        ticks[place] = rng.choice(TICKS[1:])
    page.evaluate("ticks => ticks.forEach((t, n) => record.setTick(1, n, t))", ticks)
    meters = {f"U-{k}": round(rng.uniform(500, 12000), 1) for k in range(24)}
    page.evaluate("m => Object.keys(m).forEach(u => record.setMeter(u, m[u]))", meters)
    receipt = page.evaluate("() => record.receipt(1)")
    assert sum(counts) == 274
    svg = page.evaluate("text => QrCode.svg(text)", receipt)
    page.set_viewport_size({"width": 800, "height": 800})
    page.evaluate("svg => { document.body.innerHTML = svg; }", svg)
    shot = page.locator("svg").screenshot()
    picture = image.open(io.BytesIO(shot)).convert("L")
    turned = picture.rotate(7, expand=True, fillcolor=255, resample=image.Resampling.BICUBIC)
    small = turned.resize((300, 300), image.Resampling.LANCZOS)
    out = io.BytesIO()
    small.save(out, format="PNG")
    text, faults = receipt_in_picture(out.getvalue(), "photo.png")
    assert faults == []
    assert text == receipt
    assert len(receipt) < 700  # words of a few exceptions among them
