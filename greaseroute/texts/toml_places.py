"""Where in a TOML text each key and element stands, so that a fault can name its line.

``tomllib`` gives the values and forgets the places; this walks the same text for the places
alone and leaves values, types and syntax errors to ``tomllib``.
"""

import re
import tomllib
from bisect import bisect_right
from dataclasses import dataclass, field

KeyPath = tuple[str | int, ...]
Place = tuple[int, int]

_SPACE = re.compile(r"(?:[ \t\r\n]|#[^\n]*)*")
_BARE_KEY = re.compile(r"[A-Za-z0-9_-]+")
_PLAIN = re.compile(r"[^,\]}#\n]*")
# Each string form up to its closing quotes; a multi-line one may end in up to five of them.
_STRINGS = (
    re.compile(r'"""(?:\\.|[^\\])*?"""(?!")', re.DOTALL),
    re.compile(r"'''.*?'''(?!')", re.DOTALL),
    re.compile(r'"(?:\\.|[^"\\\n])*"'),
    re.compile(r"'[^'\n]*'"),
)
_SYNTAX_PLACE = re.compile(r" \(at (?:line (\d+), column (\d+)|end of document)\)")


def line_index(text: str) -> dict[KeyPath, Place]:
    """Line and column, from 1, of every key path of a valid TOML text.

    A key path has strings for keys and numbers for elements of arrays and of arrays of tables:
    ``("joints", 2, "fittings", 0, "link")``. A key's place is where it is written (the first
    time, for a table opened more than once), an element's where its value begins.
    """
    walk = _Walk(text.replace("\r\n", "\n"))
    walk.document()
    starts = [0] + [m.end() for m in re.finditer("\n", walk.text)]

    def place(offset: int) -> Place:
        line = bisect_right(starts, offset)
        return (line, offset - starts[line - 1] + 1)

    return {path: place(offset) for path, offset in walk.offsets.items()}


def syntax_place(error: tomllib.TOMLDecodeError, text: str) -> tuple[Place, str]:
    """Place and words of a syntax error, told apart."""
    found = _SYNTAX_PLACE.search(str(error))
    words = _SYNTAX_PLACE.sub("", str(error))
    if found and found[1]:
        return (int(found[1]), int(found[2])), words
    last = text.rstrip("\n").rsplit("\n", 1)[-1]
    return (text.rstrip("\n").count("\n") + 1, len(last) + 1), words


@dataclass
class _Walk:
    """One pass over a text; ``offsets`` fills up with the place of each key path."""

    text: str
    pos: int = 0
    offsets: dict[KeyPath, int] = field(default_factory=dict)
    table_counts: dict[KeyPath, int] = field(default_factory=dict)

    def document(self) -> None:
        base: KeyPath = ()
        self._skip()
        while self.pos < len(self.text):
            if self.text.startswith("[", self.pos):
                base = self._header()
            else:
                self._pair(base)
            self._skip()

    def _header(self) -> KeyPath:
        start = self.pos
        many = self.text.startswith("[[", start)
        self.pos += 2 if many else 1
        keys = self._keys()
        self.pos = self.text.index("]]" if many else "]", self.pos) + (2 if many else 1)
        path: KeyPath = ()
        for depth, (key, _) in enumerate(keys):
            path += (key,)
            self.offsets.setdefault(path, start)
            if many and depth == len(keys) - 1:
                self.table_counts[path] = self.table_counts.get(path, 0) + 1
            if path in self.table_counts:
                path += (self.table_counts[path] - 1,)
                self.offsets.setdefault(path, start)
        return path

    def _pair(self, base: KeyPath) -> None:
        path = base
        for key, offset in self._keys():
            path += (key,)
            self.offsets.setdefault(path, offset)
        self.pos = self.text.index("=", self.pos) + 1
        self._value(path)

    def _keys(self) -> list[tuple[str, int]]:
        """The parts of a dotted key with the place of each."""
        keys = []
        while True:
            self._skip()
            keys.append((self._key(), self.pos))
            self.pos = self._end_of_key()
            self._skip()
            if not self.text.startswith(".", self.pos):
                return keys
            self.pos += 1

    def _key(self) -> str:
        written = self.text[self.pos : self._end_of_key()]
        return next(iter(tomllib.loads(f"{written}=0"))) if written[0] in "\"'" else written

    def _end_of_key(self) -> int:
        for form in (*_STRINGS[2:], _BARE_KEY):
            if match := form.match(self.text, self.pos):
                return match.end()
        raise ValueError(f"no key at offset {self.pos}; parse the text with tomllib first")

    def _value(self, path: KeyPath) -> None:
        self._skip()
        if self.text.startswith("[", self.pos):
            self._array(path)
        elif self.text.startswith("{", self.pos):
            self._inline_table(path)
        else:
            self.pos = self._end_of_plain()

    def _end_of_plain(self) -> int:
        for form in (*_STRINGS, _PLAIN):
            if match := form.match(self.text, self.pos):
                return match.end()
        return self.pos

    def _array(self, path: KeyPath) -> None:
        self.pos += 1
        count = 0
        while not self._closed_by("]"):
            self.offsets[(*path, count)] = self.pos
            self._value((*path, count))
            count += 1

    def _inline_table(self, path: KeyPath) -> None:
        self.pos += 1
        while not self._closed_by("}"):
            self._pair(path)

    def _closed_by(self, bracket: str) -> bool:
        """Step over a comma if there is one; tell whether the bracket closes here."""
        self._skip()
        if self.text.startswith(",", self.pos):
            self.pos += 1
            self._skip()
        closed = self.text.startswith(bracket, self.pos)
        self.pos += closed
        return closed

    def _skip(self) -> None:
        match = _SPACE.match(self.text, self.pos)
        self.pos = match.end() if match else self.pos
