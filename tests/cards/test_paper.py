"""The pocket list and the type book, read back from the PDF by another program (pypdf)."""

import io

import pytest

import greaseroute.cards.paper as paper
import greaseroute.cards.typesetter as typesetter
from greaseroute.cards.card_model import walk_blocks
from greaseroute.cards.cautions import general_cautions
from greaseroute.cards.fitting_names import FittingNames
from greaseroute.cards.stop_signs import StopSigns
from greaseroute.errors import UnknownName
from tests.cards import sample
from tests.cards.pdf_sheets import sheets

pytest.importorskip("typst")


@pytest.fixture(scope="module")
def pdf(plan, yard):
    return paper.card_pdf(plan, yard)


@pytest.fixture(scope="module")
def pages(pdf):
    return sheets(pdf)


def test_same_plan_and_site_give_the_same_bytes(pdf, yard):
    assert paper.card_pdf(sample.plan(yard), yard) == pdf


def test_a_sheet_with_what_holds_everywhere_a_map_and_the_list(pages):
    assert len(pages) == 3
    assert all(pages[0].count(caution.text) == 1 for caution in general_cautions())
    # Three steps of isolation, the same at five machines: written once, named at each.
    assert "".join(pages).count("2. take the key") == 1
    assert pages[2].count("Isolate as I1") == 5
    assert "walk of Ada" in pages[1]


def test_every_fitting_stands_in_the_list_once_in_the_order_pumped(pages, plan):
    rest = pages[2]
    for stop in plan.technicians[0].stops:
        label = stop.unit if not stop.reload else "to store: fill the bag"
        assert label in rest
        rest = rest[rest.index(label) :]
        for stand in stop.stands:
            for task in stand.fittings:
                at = rest.index(task.joint)
                assert f"{task.strokes}\u00d7" in rest[at : at + 60]
                rest = rest[at + len(task.joint) :]
    assert pages[2].count("4\u00d7") == sum(
        len(s.fittings) for stop in plan.technicians[0].stops for s in stop.stands
    )


def test_a_cartridge_change_stands_before_its_fitting(pages):
    change = pages[2].index("Fit a new cartridge of plain into the gun lever")
    assert change < pages[2].index("boom root")


def test_a_machine_moved_first_is_not_isolated_before_that(plan, yard):
    pages = sheets(paper.card_pdf(sample.moved_first(plan), yard))
    assert pages[2].count("Isolate as I1") == 4
    assert pages[2].count("It is moved first, then isolated") == 1
    first, second, *_ = walk_blocks(sample.moved_first(plan), yard)[0].stops
    signs = StopSigns(yard.say)
    assert signs.named(first).startswith("It is moved first, then isolated")
    assert signs.named(second).startswith("Isolate as I1")


def test_the_list_names_the_numbers_of_the_type_book(pages, yard):
    book = sheets(paper.type_book_pdf(yard))
    unit = yard.units[0]
    names = FittingNames(yard.say, sample.placed_unit(yard, unit))
    assert names.number("boom root", "right") == "2"
    assert "2 boom root, right" in pages[2]
    assert "2 boom root, right" in " ".join(book)
    assert unit.unit in book[0]


def test_german_where_the_site_speaks_german(plan, yard):
    from dataclasses import replace

    pages = sheets(paper.card_pdf(plan, replace(yard, language="de")))
    assert "Zuerst sichern" in pages[0]
    assert pages[2].count("Sichern nach I1") == 5


def test_without_the_typesetter_the_extra_is_named(plan, yard, monkeypatch):
    monkeypatch.setattr(typesetter, "find_spec", lambda name: None)
    with pytest.raises(UnknownName, match=r"pip install greaseroute\[pdf\]"):
        paper.card_pdf(plan, yard)


def test_a_label_tells_a_camera_which_machine_it_is_on(yard):
    # Read back from the typeset page by another program's reader of codes.
    zxing = pytest.importorskip("zxingcpp")
    typst = pytest.importorskip("typst")
    image = pytest.importorskip("PIL.Image")
    pdf = paper.labels_pdf(yard)
    (page,) = sheets(pdf)
    assert all(unit.unit in page for unit in yard.units)
    drawn = {}

    def keep(template, data, moment):
        drawn["png"] = typst.compile(
            typesetter.part(template).encode(), format="png", ppi=200.0, ignore_system_fonts=True,
            sys_inputs={"data": typesetter.json.dumps(data)},
        )  # fmt: skip
        return b""

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(paper, "typeset", keep)
        paper.labels_pdf(yard)
    found = zxing.read_barcodes(image.open(io.BytesIO(drawn["png"])))
    assert sorted(code.text for code in found) == sorted(unit.unit for unit in yard.units)
