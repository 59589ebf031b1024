"""The pump list: every fitting once, in order, safe to open."""

import csv
import io

from greaseroute.cards.pumps_csv import COLUMNS, ENCODING, pumps_csv
from tests.cards import sample


def rows(plan):
    return list(csv.DictReader(io.StringIO(pumps_csv(plan), newline="")))


def tasks(plan):
    return [
        (walk.name, stop.unit, task.joint, task.fitting, task.strokes)
        for walk in plan.technicians
        for stop in walk.stops
        for stand in stop.stands
        for task in stand.fittings
    ]


def test_one_row_for_each_fitting_in_the_order_pumped(plan):
    got = [
        (r["technician"], r["unit"], r["joint"], r["fitting"], int(r["strokes"]))
        for r in rows(plan)
    ]
    assert got == tasks(plan)
    assert len(got) == 18  # 4 + 3 + 4 + 3 + 4 of the five machines
    assert [r["no"] for r in rows(plan)] == [str(n) for n in range(1, 19)]


def test_cartridges_put_in_stand_before_their_fitting(plan):
    put_in = [int(r["cartridges_put_in_before"]) for r in rows(plan)]
    assert put_in == [1] + [0] * 17


def test_stops_carry_the_labels_of_the_map(yard):
    plan = sample.plan(yard, technicians=("Ada", "Bo"))
    assert sorted({r["stop"] for r in rows(plan)}) == ["A1", "A2", "A3", "B1", "B2"]


def test_lines_end_as_rfc_4180_wants_and_the_mark_is_in_the_encoding(plan):
    text = pumps_csv(plan)
    assert text.count("\r\n") == text.count("\n") == 19  # a head and 18 rows
    assert text.encode(ENCODING)[:3] == b"\xef\xbb\xbf"
    assert text.splitlines()[0] == ",".join(COLUMNS)


def test_a_name_that_looks_like_a_formula_stays_text(plan):
    walk = plan.technicians[0].model_copy(update={"name": '=HYPERLINK("x")'})
    got = rows(plan.model_copy(update={"technicians": (walk,)}))
    assert got[0]["technician"] == '\'=HYPERLINK("x")'


def test_a_formula_after_a_semicolon_stays_text(plan):
    # Where the list separator is a semicolon, the rest of the text would be a cell of its own.
    walk = plan.technicians[0].model_copy(update={"name": "Ada; =1+1;-2"})
    got = rows(plan.model_copy(update={"technicians": (walk,)}))
    assert got[0]["technician"] == "Ada; '=1+1;'-2"
