"""How large and how deep a text may be, and which characters a name may hold.

The limits are looked for before a text is read: the readers of TOML and JSON take minutes and
gigabytes for some texts of a few kilobytes, and give up with errors of their own at others.
"""

import re
from collections.abc import Iterator, Mapping
from typing import Any

from greaseroute.errors import Fault, clipped

MOST_BYTES = 16 << 20  # a site of 2,000 units has files of about 1 MB
MOST_DEPTH = 50  # tables and lists inside each other; a site has 6
MOST_DIGITS = 40
MOST_KEY_PARTS = 40
MOST_NAME = 120  # characters of a name or another text of one line
MOST_TEXT = 4000  # characters of a text that may have several lines

# Fields whose texts may have several lines.
LONG_FIELDS = frozenset({"notes", "origin", "comment", "description", "steps", "caution", "text"})

# Strings and comments (told apart and skipped), brackets, long numbers, dotted keys.
_TOKENS = re.compile(
    r'"""(?:\\.|[^\\])*?"""|\'\'\'.*?\'\'\'|"(?:\\.|[^"\\\n])*"|\'[^\'\n]*\'|\#[^\n]*'
    r"|(?P<open>[\[{])|(?P<close>[\]}])"
    rf"|(?P<digits>[0-9_]{{{MOST_DIGITS + 1},}})"
    rf"|(?P<key>(?<![\w-])(?:[\w-]+[ \t]*\.[ \t]*){{{MOST_KEY_PARTS},}})",
    re.DOTALL,
)
# Controls, halves of a character, ends of line and paragraph, marks of direction, byte-order mark.
_HOSTILE = re.compile(
    "[\x00-\x08\x0b-\x1f\x7f-\x9f\u200e\u200f\u2028\u2029\u202a-\u202e\u2066-\u2069\ufeff"
    "\ud800-\udfff]"
)
_LINE_ENDS = re.compile(r"[\t\r\n]")


def limit_faults(text: str, file: str) -> list[Fault]:
    """The fault of a text that is too deep, or has a number or a key that is too long."""
    depth = 0
    for token in _TOKENS.finditer(text):
        kind = token.lastgroup
        if kind == "open":
            depth += 1
        elif kind == "close":
            depth -= 1
        told = {
            "open": (f"{depth} levels", f"at most {MOST_DEPTH} levels of brackets"),
            "digits": (f"{len(token[0])} digits", f"a number of at most {MOST_DIGITS} digits"),
            "key": (token[0][:20], f"a key of at most {MOST_KEY_PARTS} parts"),
        }.get(kind or "")
        if told is not None and (kind != "open" or depth > MOST_DEPTH):
            line = text.count("\n", 0, token.start()) + 1
            return [Fault(file, line, "text", "size", clipped(told[0]), told[1], "mend the text")]
    return []


def text_trouble(value: str, field: str) -> tuple[str, str] | None:
    """(what is allowed, what to do) where a text may not stand in that field; None where it may."""
    long = field in LONG_FIELDS
    most = MOST_TEXT if long else MOST_NAME
    if len(value) > most:
        return f"at most {most} characters", "shorten it"
    if _HOSTILE.search(value):
        return "text without control characters", "take them out"
    if not long and _LINE_ENDS.search(value):
        return "text of one line", "take out line breaks and tabs"
    return None


Path = tuple[str | int, ...]


def hostile_texts(data: Any, path: Path = ()) -> Iterator[tuple[Path, str, str, str]]:  # noqa: ANN401
    """(path, value, allowed, what to do) of each text in a tree of values that may not stand there.

    ``data`` is what a reader of TOML or JSON gives. A key is told as its own value.
    """
    if isinstance(data, Mapping):
        for key, value in data.items():
            trouble = text_trouble(key, "name")
            if trouble is not None:
                yield (*path, key), key, *trouble
            yield from hostile_texts(value, (*path, key))
    elif isinstance(data, list):
        for number, value in enumerate(data):
            yield from hostile_texts(value, (*path, number))
    elif isinstance(data, str):
        field = next((part for part in reversed(path) if isinstance(part, str)), "")
        trouble = text_trouble(data, field)
        if trouble is not None:
            yield path, data, *trouble
