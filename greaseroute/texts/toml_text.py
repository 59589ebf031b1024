"""A TOML text with the line of every value; a syntax error is a fault."""

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

from greaseroute.errors import Fault
from greaseroute.texts.limits import hostile_texts, limit_faults
from greaseroute.texts.toml_places import line_index, syntax_place
from greaseroute.texts.validation import Path, dotted, line_in, shown


@dataclass(frozen=True)
class TomlText:
    """The tables of a TOML text; ``line`` gives the line of a value, found when first asked."""

    text: str = ""
    data: dict[str, Any] = field(default_factory=dict)

    @cached_property
    def _index(self) -> Mapping[Path, tuple[int, int]]:
        return line_index(self.text) if self.data else {}

    def line(self, path: Path) -> int:
        """Line of the value at ``path``, or of the table around it."""
        return line_in(self._index, path)


def read_toml(text: str, file: str, *, record: str = "TOML") -> tuple[TomlText, list[Fault]]:
    """The tables of ``text``, or empty ones and the fault where TOML's grammar is broken.

    Texts with control characters are faults as well, of ``record``; the tables come back.
    """
    beyond = limit_faults(text, file)
    if beyond:
        return TomlText(text), beyond
    try:
        toml = TomlText(text, tomllib.loads(text))
    except tomllib.TOMLDecodeError as error:
        (line, column), words = syntax_place(error, text)
        lines = text.splitlines()
        value = lines[line - 1].strip() if 0 < line <= len(lines) else "end of file"
        do = f"mend it: {words.strip().lower()} at column {column}"
        return TomlText(text), [Fault(file, line, "TOML", "syntax", shown(value), "valid TOML", do)]
    return toml, [
        Fault(file, toml.line(path), record, dotted(path), shown(value), allowed, do)
        for path, value, allowed, do in hostile_texts(toml.data)
    ]
