"""Places in a TOML text: every key path that tomllib finds has one, and it points at the key."""

import tomllib
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from greaseroute.texts.toml_places import line_index, syntax_place
from greaseroute.texts.toml_text import read_toml

TEXT = """\
name = "a # not a comment"  # a comment
size.x = 1
"odd key".'x=y' = 2

[[joints]]
name = 'boom root'
fittings = [
  { name = "left", at = [0.1, 2, 3] }, # first
  { name = "right", at = [0.1, -2, 3] },
]
[joints.dose]
strokes = [3, 4]

[[joints]]
text = \"\"\"
several lines = [
with ""quotes\"\"\"\"\"
[other.deep]
day = 2026-03-02 05:30:00
"""


def paths(value: Any, path: tuple[str | int, ...] = ()) -> set[tuple[str | int, ...]]:
    """Every key path of parsed TOML, containers and leaves."""
    found = {path} if path else set()
    if isinstance(value, dict | list):
        items = value.items() if isinstance(value, dict) else enumerate(value)
        for key, inner in items:
            found |= paths(inner, (*path, key))
    return found


@pytest.mark.parametrize(
    ("path", "place"),
    [
        (("name",), (1, 1)),
        (("size", "x"), (2, 6)),
        (("odd key", "x=y"), (3, 11)),
        (("joints", 0), (5, 1)),
        (("joints", 0, "fittings", 1, "name"), (9, 5)),
        (("joints", 0, "fittings", 1, "at", 1), (9, 32)),
        (("joints", 0, "dose", "strokes"), (12, 1)),
        (("joints", 1, "text"), (15, 1)),
        (("other", "deep", "day"), (19, 1)),
    ],
)
def test_place_of_a_key(path, place):
    assert line_index(TEXT)[path] == place


def test_every_path_and_no_other():
    assert set(line_index(TEXT)) == paths(tomllib.loads(TEXT))


def test_unknown_path_falls_back_to_what_is_around_it():
    toml, _ = read_toml(TEXT, "x.toml")
    assert toml.line(("joints", 0, "dose", "missing")) == 11
    assert toml.line(("nowhere",)) == 1


def test_windows_line_ends_count_the_same():
    assert line_index(TEXT.replace("\n", "\r\n")) == line_index(TEXT)


@pytest.mark.parametrize(
    ("text", "place", "words"),
    [
        ("a = 1\nb = = 2\n", (2, 5), "Invalid value"),
        ("a = [1,\n2", (2, 2), "Unclosed array"),
    ],
)
def test_syntax_place(text, place, words):
    with pytest.raises(tomllib.TOMLDecodeError) as caught:
        tomllib.loads(text)
    assert syntax_place(caught.value, text) == (place, words)


# ---- any tree, written in any of the forms TOML has, is found again ------------------------

keys = st.sampled_from(["a", "b-1", "x y", "q'q", 'd"d', "é", "", "#", "=", "[", "1"])
scalars = st.one_of(
    st.integers(-9, 9),
    st.booleans(),
    st.sampled_from(["", "plain", "# no", "a = [1]", 'q"q', "back\\slash", "]}", "two\nlines"]),
)
trees = st.recursive(
    scalars,
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(keys, inner, max_size=3),
    max_leaves=12,
)


def quoted(text: str) -> str:
    escaped = text.replace("\\", "\\\\").replace('"', '\\"').replace("\n", "\\n")
    return f'"{escaped}"'


def inline(value: Any, draw: Any) -> str:
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, dict):
        return "{" + ", ".join(f"{quoted(k)} = {inline(v, draw)}" for k, v in value.items()) + "}"
    if isinstance(value, list):
        gap = draw(st.sampled_from(["", " ", "\n", " # [{\n  "]))
        return "[" + gap + f",{gap}".join(inline(v, draw) for v in value) + gap + "]"
    if isinstance(value, str):
        forms = [quoted(value)]
        if "'" not in value and "\n" not in value:
            forms.append(f"'{value}'")
        if "'" not in value:
            forms.append(f"'''\n{value}'''")
        forms.append('"""' + quoted(value)[1:-1] + '"""')
        return draw(st.sampled_from(forms))
    return str(value)


def written(table: dict[str, Any], draw: Any, head: tuple[str, ...] = ()) -> str:
    plain, later = [], []
    for key, value in table.items():
        name = ".".join(quoted(k) for k in (*head, key))
        tables = isinstance(value, list) and value and all(isinstance(v, dict) for v in value)
        if isinstance(value, dict) and draw(st.booleans()):
            later.append(f"[{name}]\n" + written(value, draw, (*head, key)))
        elif tables and draw(st.booleans()):
            later += [f"[[{name}]] # x\n" + written(v, draw, (*head, key)) for v in value]
        else:
            plain.append(f"{quoted(key)} = {inline(value, draw)}\n")
    return "".join(plain + later)


@settings(max_examples=150, deadline=None, derandomize=True)
@given(st.dictionaries(keys, trees, max_size=4), st.data())
def test_any_tree_is_indexed(tree, data):
    text = written(tree, data.draw)
    assert tomllib.loads(text) == tree
    index = line_index(text)
    assert set(index) == paths(tree)
    lines = text.split("\n")
    for path, (line, column) in index.items():
        here = lines[line - 1][column - 1 :]
        if isinstance(path[-1], str) and not here.startswith("["):
            assert here.startswith((quoted(path[-1]), path[-1]))
