"""The places of values in a JSON text agree with what ``json`` reads there."""

import json

from hypothesis import given, settings
from hypothesis import strategies as st

from greaseroute.texts.json_text import locate

VALUES = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats(allow_nan=False) | st.text(),
    lambda inner: st.lists(inner) | st.dictionaries(st.text(), inner),
    max_leaves=12,
)


def _paths(value, path=()):
    yield path, value
    pairs = value.items() if isinstance(value, dict) else ()
    pairs = enumerate(value) if isinstance(value, list) else pairs
    for key, inner in pairs:
        yield from _paths(inner, (*path, key))


@given(VALUES, st.sampled_from([None, 0, 2]))
@settings(max_examples=300, deadline=None)
def test_each_path_is_found_where_its_value_stands(value, indent):
    text = json.dumps(value, indent=indent, ensure_ascii=False)
    index = locate(text)
    # json.dumps leaves U+2028 and the like alone: only the line feed makes a line here.
    lines = text.split("\n")
    decoder = json.JSONDecoder()
    for path, inner in _paths(value):
        line, column = index[path]
        rest = "\n".join([lines[line - 1][column - 1 :], *lines[line:]])
        assert decoder.raw_decode(rest)[0] == inner
    assert set(index) == {path for path, _ in _paths(value)}


def test_lines_and_columns_count_from_one():
    text = '{\n  "a": [10,\n    20]\n}\n'
    assert locate(text) == {(): (1, 1), ("a",): (2, 8), ("a", 0): (2, 9), ("a", 1): (3, 5)}
