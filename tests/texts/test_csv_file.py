"""Tables as people and spreadsheets write them."""

import pytest

from greaseroute.texts.csv_table import Columns, read_table

COLUMNS = Columns(("unit", "meter_h"), ("notes",))


def _rows(text):
    table, faults = read_table(text, "fleet.csv", COLUMNS)
    assert faults == []
    return [(r.line, dict(r.cells)) for r in table.rows]


@pytest.mark.parametrize("separator", [",", ";", "\t"])
def test_any_of_three_separators(separator):
    text = separator.join(["unit", "meter_h"]) + "\n" + separator.join(["A", "12.5"]) + "\n"
    assert _rows(text) == [(2, {"unit": "A", "meter_h": "12.5"})]


@pytest.mark.parametrize("separator", [";", "\t"])
def test_a_decimal_comma_where_the_comma_does_not_separate(separator):
    text = f"unit{separator}meter_h\nA{separator}12,5\n"
    assert _rows(text) == [(2, {"unit": "A", "meter_h": "12.5"})]


def test_a_comma_in_words_stays_a_comma():
    text = "unit;meter_h;notes\nA;12,5;wet, muddy\n"
    assert _rows(text)[0][1]["notes"] == "wet, muddy"


def test_lines_are_right_after_a_line_break_inside_quotes():
    # The first row begins on line 2 and ends on line 3; the second begins on line 4.
    text = 'unit,meter_h,notes\nA,1,"two\nlines"\nB,2,\n'
    assert [line for line, _ in _rows(text)] == [2, 4]


def test_title_rows_blank_rows_and_remarks_are_passed_over():
    text = "Fleet of the yard,,\n\nunit,meter_h,notes\n# old ones\nA,1,\n,,\nB,2,\n"
    assert [(line, c["unit"]) for line, c in _rows(text)] == [(5, "A"), (7, "B")]


def test_windows_line_ends():
    assert _rows("unit,meter_h\r\nA,1\r\nB,2\r\n")[1] == (3, {"unit": "B", "meter_h": "2"})


def test_header_names_in_any_case():
    assert _rows("Unit,METER_H\nA,1\n") == [(2, {"unit": "A", "meter_h": "1"})]


def test_no_header():
    table, faults = read_table("A,1\nB,2\n", "fleet.csv", COLUMNS)
    assert table is None
    assert [str(f) for f in faults] == [
        "fleet.csv:1: table: header = 'not found'; allowed: a header row with unit, meter_h; "
        "add the header row"
    ]


def test_a_misspelt_column_is_one_fault():
    _, faults = read_table("unit,meter,notes\nA,1,\n", "fleet.csv", COLUMNS)
    assert [(f.field, f.value, f.do) for f in faults] == [
        ("column", "meter", "did you mean 'meter_h'?")
    ]


def test_a_missing_and_a_doubled_column():
    _, faults = read_table("\n\nunit,notes,notes\nA,x,y\n", "fleet.csv", COLUMNS)
    assert [(f.line, f.field, f.value) for f in faults] == [
        (3, "meter_h", "missing"),
        (3, "column", "notes"),
    ]


def test_a_quote_left_open_does_not_swallow_the_rows_below_it():
    # Row B opens a quote on line 3 that nothing closes: told, and A above it is still read.
    text = 'unit,meter_h,notes\nA,1,\nB,2,"left open\nC,3,\nD,4,\n'
    table, faults = read_table(text, "fleet.csv", COLUMNS)
    assert [r.cells["unit"] for r in table.rows] == ["A"]
    assert [str(f) for f in faults] == [
        "fleet.csv:3: table: quotes = 'unmatched'; allowed: a closing double quote, then a "
        "separator or the end of the line; close the quote, or double it where it belongs to the "
        "text"
    ]


def test_inches_in_words_are_no_quotes():
    assert _rows('unit,meter_h,notes\nA,1,bucket 48" wide\n')[0][1]["notes"] == 'bucket 48" wide'
