"""What can go wrong, told with the record, the value, the limit and the next step."""

from collections.abc import Iterable
from dataclasses import dataclass


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
        return (
            f"{self.file}:{self.line}: {self.record}: {self.field} = {self.value!r}; "
            f"allowed: {self.allowed}; {self.do}"
        )


class GreaserouteError(Exception):
    """Base of all errors of this package.

    Parameters
    ----------
    record, value, limit, next_step : str
        What was being worked on, what was found, what is allowed, what to do about it.
    """

    def __init__(self, record: str, value: str, *, limit: str, next_step: str) -> None:
        super().__init__(f"{record}: {value}; allowed: {limit}; {next_step}")
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
