"""Messages are one line, not too long, and do nothing to a terminal."""

import pytest

from greaseroute.errors import LINE_LIMIT, Fault, Remark, UnknownName, clipped, printable

HOSTILE = "a\x1b[31mb\x00c\nd\u202ee\u2028f\ud800g\x9b"


def test_what_is_not_printed_is_shown_as_an_escape():
    assert printable(HOSTILE) == r"a\x1b[31mb\x00c\nd\u202ee\u2028f\ud800g\x9b"
    assert printable("Löffel für 3 m³, 15°, 重") == "Löffel für 3 m³, 15°, 重"


def test_values_are_cut_at_sixty_characters():
    assert clipped("x" * 60) == "x" * 60
    assert clipped("x" * 61) == "x" * 57 + "..."
    assert len(clipped("\x00" * 70_000)) == 60


def test_a_fault_with_usual_texts_is_shown_whole():
    fault = Fault("a.csv", 3, "unit X", "meter_h", "-4", "a number at least 0", "correct it")
    assert str(fault) == (
        "a.csv:3: unit X: meter_h = '-4'; allowed: a number at least 0; correct it"
    )
    remark = Remark("a.toml", 3, "gun X", "stroke_cm3", "12", "0.5 to 3", "weigh ten strokes")
    assert str(remark) == (
        "warning: a.toml:3: gun X: stroke_cm3 = '12'; usual: 0.5 to 3; weigh ten strokes"
    )


@pytest.mark.parametrize("text", ["x" * 70_000, HOSTILE * 100, "'" * 500])
@pytest.mark.parametrize("place", range(6))
def test_no_line_is_too_long_or_unprintable(text, place):
    words = ["a.csv", "unit X", "meter_h", "-4", "a number", "correct it"]
    words[place] = text
    file, record, field, value, allowed, do = words
    lines = [
        str(Fault(file, 3, record, field, value, allowed, do)),
        str(Remark(file, 3, record, field, value, allowed, do)),
        f"greaseroute: {UnknownName(record, value, limit=allowed, next_step=do)}",
    ]
    for line in lines:
        assert len(line) <= LINE_LIMIT
        assert line == printable(line)


def test_what_to_do_is_kept_where_a_list_is_long():
    known = ", ".join(f"'type-{n}'" for n in range(100))
    fault = Fault("fleet.csv", 2, "unit A", "type", "typ-7", known, "did you mean 'type-7'?")
    assert str(fault).endswith("...; did you mean 'type-7'?")
    assert len(str(fault)) == LINE_LIMIT
