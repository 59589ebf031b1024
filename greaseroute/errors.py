"""What can go wrong, told with the record, the value, the limit and the next step.

A message is one line of at most `LINE_LIMIT` characters that can do nothing to a terminal: what it
quotes is cut, and control characters are shown as they would be typed in a program.
"""

import unicodedata
from collections.abc import Iterable
from dataclasses import dataclass

LINE_LIMIT = 300
VALUE_LIMIT = 60  # characters of a value, a name or a file that a line shows
DOTS = "..."

# Characters without a picture of their own: controls, marks of direction, halves of a character,
# private use, ends of line and paragraph. (Unicode general categories.)
UNPRINTABLE = frozenset({"Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp"})


def printable(text: str) -> str:
    """A text in which every character that is not printed is shown as an escape: ``\\x1b``."""
    return "".join(
        c.encode("unicode_escape").decode() if unicodedata.category(c) in UNPRINTABLE else c
        for c in text
    )


def clipped(text: str, limit: int = VALUE_LIMIT) -> str:
    """A text made `printable` and cut to so many characters."""
    shown = printable(text[: limit + 1])
    return shown if len(shown) <= limit else shown[: limit - len(DOTS)] + DOTS


@dataclass(frozen=True, slots=True, order=True)
class Fault:
    """One mistake in an input file; a folder is read to its end and gives all of them.

    Attributes
    ----------
    file : str
        Path inside the site folder, with forward slashes.
    line : int
        Line in that file, from 1.
    record : str
        What the line describes, such as ``unit HT-12``.
    field : str
        The field at fault, or ``-`` where the whole record is.
    value : str
        The value as it was read.
    allowed : str
        What would be accepted.
    do : str
        The next step for the person who mends it.
    """

    file: str
    line: int
    record: str
    field: str
    value: str
    allowed: str
    do: str

    def __str__(self) -> str:
        place = f"{clipped(self.file, 2 * VALUE_LIMIT)}:{self.line}: {clipped(self.record)}"
        head = f"{place}: {clipped(self.field)} = {_quoted(self.value)}; "
        return _fitted(head, self.allowed, self.do)


@dataclass(frozen=True, slots=True, order=True)
class Remark:
    """Something in an input file that can be, but is strange: it is told, and nothing is refused.

    The fields are those of a `Fault`; ``usual`` says what is commonly found.
    """

    file: str
    line: int
    record: str
    field: str
    value: str
    usual: str
    do: str

    def __str__(self) -> str:
        place = f"{clipped(self.file, 2 * VALUE_LIMIT)}:{self.line}: {clipped(self.record)}"
        head = f"warning: {place}: {clipped(self.field)} = {_quoted(self.value)}; "
        return _fitted(head, self.usual, self.do, word="usual")


def _quoted(value: str) -> str:
    """A value in quotes, which are those that it does not hold itself."""
    text = clipped(value, 2 * VALUE_LIMIT)  # some are words of ours about several values
    return f'"{text}"' if "'" in text and '"' not in text else f"'{text}'"


def _fitted(head: str, allowed: str, do: str, *, word: str = "allowed") -> str:
    """One line; where it is too long, what is allowed is cut, then what to do."""
    room = max(LINE_LIMIT - len(head) - len(f"{word}: ; "), len(DOTS))
    do = clipped(do, max(room - min(len(allowed), VALUE_LIMIT), len(DOTS)))
    return f"{head}{word}: {clipped(allowed, max(room - len(do), len(DOTS)))}; {do}"[:LINE_LIMIT]


class GreaserouteError(Exception):
    """Base of all errors of this package.

    Parameters
    ----------
    record, value, limit, next_step : str
        What was being worked on, what was found, what is allowed, what to do about it.
    """

    def __init__(self, record: str, value: str, *, limit: str, next_step: str) -> None:
        # The program's name and a blank are put before it.
        head = f"{clipped(record, 2 * VALUE_LIMIT)}: {clipped(value, 2 * VALUE_LIMIT)}; "
        super().__init__(_fitted(head, limit, next_step)[: LINE_LIMIT - len("greaseroute: ")])
        self.record = record
        self.value = value
        self.limit = limit
        self.next_step = next_step


class BadInput(GreaserouteError):
    """A folder or file with faults; ``faults`` holds every one, sorted by file and line."""

    def __init__(self, source: str, faults: Iterable[Fault]) -> None:
        self.faults = tuple(sorted(faults))
        super().__init__(
            source,
            f"{len(self.faults)} faults",
            limit="none",
            next_step="mend each line listed by `greaseroute check`",
        )


class PostureRefused(GreaserouteError):
    """A posture that the machine cannot take: a cylinder too long or short, a chain left open."""


class UnknownName(GreaserouteError):
    """A name that nothing carries: a machine type, a unit, a place, a grease."""


class UnfitProblem(GreaserouteError):
    """Numbers handed to a solver that it must not see: ragged, negative, too large, empty."""


class LedgerRefused(GreaserouteError):
    """The record cannot be opened, read or written: locked, damaged, too new, or the disk full."""
