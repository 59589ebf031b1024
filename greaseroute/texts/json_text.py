"""A JSON text read, its fault told, and where each value in it stands: path to line and column."""

import json
import re
from bisect import bisect_right
from json.decoder import scanstring  # type: ignore[attr-defined]
from typing import Any

from greaseroute.errors import Fault
from greaseroute.texts.limits import hostile_texts, limit_faults
from greaseroute.texts.validation import Path, dotted, line_in, shown

_SPACE = re.compile(r"[ \t\n\r]*")
_ATOM = re.compile(r"[^\s,\]}]+")


def parsed(text: str, file: str) -> tuple[Any, list[Fault]]:
    """The value of a JSON text, or the faults that keep it from being read."""
    beyond = limit_faults(text, file)
    if beyond:
        return None, beyond
    try:
        data = json.loads(text)
    except json.JSONDecodeError as error:
        lines = text.splitlines()
        value = shown(lines[error.lineno - 1]) if error.lineno <= len(lines) else "end of file"
        do = f"mend it: {error.msg.lower()} at column {error.colno}"
        return None, [Fault(file, error.lineno, "JSON", "syntax", value, "valid JSON", do)]
    return data, []


def text_faults(data: Any, text: str, file: str) -> list[Fault]:  # noqa: ANN401
    """The fault of each text in an accepted value that holds control characters or is too long."""
    found = list(hostile_texts(data))
    index = locate(text) if found else {}
    return [
        Fault(file, line_in(index, path), "JSON", dotted(path), shown(value), allowed, do)
        for path, value, allowed, do in found
    ]


def locate(text: str) -> dict[Path, tuple[int, int]]:
    """Map each path of an accepted JSON text to its (line, column), both from 1.

    The text must have passed ``json.loads``: nothing is checked again here.
    """
    walker = _Walker(text)
    walker.value(_skip(text, 0), ())
    return walker.index


def _skip(text: str, at: int) -> int:
    match = _SPACE.match(text, at)
    return match.end() if match else at


class _Walker:
    """One pass over the text that notes where each value begins."""

    def __init__(self, text: str) -> None:
        self.text = text
        self.index: dict[Path, tuple[int, int]] = {}
        self._starts = [0] + [m.end() for m in re.finditer("\n", text)]

    def value(self, at: int, path: Path) -> int:
        """Note the value at ``at`` and give the place after it."""
        line = bisect_right(self._starts, at)
        self.index[path] = (line, at - self._starts[line - 1] + 1)
        head = self.text[at]
        if head == "{":
            return self._object(at, path)
        if head == "[":
            return self._array(at, path)
        if head == '"':
            return int(scanstring(self.text, at + 1, False)[1])
        match = _ATOM.match(self.text, at)
        return match.end() if match else at + 1

    def _object(self, at: int, path: Path) -> int:
        at = _skip(self.text, at + 1)
        while self.text[at] != "}":
            key, at = scanstring(self.text, at + 1, False)
            at = self.value(_skip(self.text, _skip(self.text, at) + 1), (*path, key))
            at = self._next(at)
        return at + 1

    def _array(self, at: int, path: Path) -> int:
        at, number = _skip(self.text, at + 1), 0
        while self.text[at] != "]":
            at = self._next(self.value(at, (*path, number)))
            number += 1
        return at + 1

    def _next(self, at: int) -> int:
        """The place of the next entry, or of the closing bracket."""
        at = _skip(self.text, at)
        return _skip(self.text, at + 1) if self.text[at] == "," else at
