"""Tables that people write: separators, decimal commas, title rows, line breaks inside quotes."""

import csv
import io
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from greaseroute.errors import Fault
from greaseroute.texts.limits import text_trouble
from greaseroute.texts.validation import near, shown

SEPARATORS = (";", "\t", ",")
HEADER_SEARCH_ROWS = 60  # title rows above the header; a fleet list seldom has more than a few
_DECIMAL_COMMA = re.compile(r"[-+]?\d+,\d+")


@dataclass(frozen=True, slots=True)
class Row:
    """One row: the line it begins on and its non-empty cells by column name."""

    line: int
    cells: Mapping[str, str]


@dataclass(frozen=True, slots=True)
class Table:
    """A table: the names in its header, the line of the header, and the rows below it."""

    columns: tuple[str, ...]
    header_line: int
    rows: tuple[Row, ...]


@dataclass(frozen=True, slots=True)
class Columns:
    """The columns a table may have: each group in ``needed`` must have all its names."""

    needed: tuple[str, ...]
    optional: tuple[str, ...] = ()

    @property
    def known(self) -> tuple[str, ...]:
        """All names, needed ones first."""
        return (*self.needed, *self.optional)


def read_table(text: str, file: str, columns: Columns) -> tuple[Table | None, list[Fault]]:
    """Read a CSV text whose header is found by its column names; None where there is no header.

    Takes ``,`` ``;`` or tab, and a decimal comma where the separator is not a comma. Blank rows
    and rows that begin with ``#`` are skipped.
    """
    found = _find_header(text, columns)
    if found is None:
        allowed = f"a header row with {', '.join(columns.needed)}"
        return None, [Fault(file, 1, "table", "header", "not found", allowed, "add the header row")]
    separator, header_line, names = found
    faults = _header_faults(names, file, header_line, columns=columns)
    rows: list[Row] = []
    body, broken = _rows(text, separator)
    if broken is not None:
        allowed = "a closing double quote, then a separator or the end of the line"
        do = "close the quote, or double it where it belongs to the text"
        faults.append(Fault(file, broken, "table", "quotes", "unmatched", allowed, do))
    for line, cells in body:
        if line > header_line and any(cells) and not cells[0].startswith("#"):
            row = Row(line, _cells(names, cells, separator))
            wrong = list(_text_faults(row, file))
            rows += [] if wrong else [row]
            faults += [*wrong, *_width_faults(names, cells, file, line=line)]
    return Table(tuple(names), header_line, tuple(rows)), faults


def _text_faults(row: Row, file: str) -> Iterator[Fault]:
    """Cells that hold control characters, or are too long."""
    for column, cell in row.cells.items():
        trouble = text_trouble(cell, column)
        if trouble is not None:
            yield Fault(file, row.line, f"row {row.line}", column, shown(cell), *trouble)


def _rows(text: str, separator: str) -> tuple[list[tuple[int, list[str]]], int | None]:
    """(line it begins on, stripped cells) of each row; csv counts the line it ends on.

    The second value is the line of a row whose quotes do not match, after which nothing is read:
    a quote left open would swallow the rows below it.
    """
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=separator, strict=True)
    rows: list[tuple[int, list[str]]] = []
    begins = 1
    try:
        for cells in reader:
            rows.append((begins, [c.strip() for c in cells]))
            begins = reader.line_num + 1
    except csv.Error:
        return rows, begins
    return rows, None


def _find_header(text: str, columns: Columns) -> tuple[str, int, list[str]] | None:
    """The (separator, line, names) that show the most known names in one of the first rows."""
    best: tuple[int, str, int, list[str]] | None = None
    for separator in SEPARATORS:
        for line, cells in _rows(text, separator)[0][:HEADER_SEARCH_ROWS]:
            if cells and cells[0].startswith("#"):
                continue
            names = [c.lower() for c in cells]
            score = len(set(names) & set(columns.known))
            if score >= 2 and (best is None or score > best[0]):
                best = (score, separator, line, names)
    return best[1:] if best else None


def _header_faults(names: Sequence[str], file: str, line: int, *, columns: Columns) -> list[Fault]:
    """Missing, unknown and doubled columns."""
    unknown = [n for n in names if n and n not in columns.known]
    misspelt = " ".join(near(n, columns.known) for n in unknown)
    faults = [
        Fault(file, line, "header", n, "missing", "this column", "add the column")
        for n in columns.needed
        if n not in names and repr(n) not in misspelt
    ]
    for position, name in enumerate(names):
        if name and name not in columns.known:
            allowed = f"the columns {', '.join(columns.known)}"
            do = near(name, columns.known) or "rename the column or take it out"
            faults.append(Fault(file, line, "header", "column", shown(name), allowed, do))
        elif name and name in names[:position]:
            faults.append(Fault(file, line, "header", "column", name, "once", "take one out"))
    return faults


def _width_faults(
    names: Sequence[str], cells: Sequence[str], file: str, *, line: int
) -> list[Fault]:
    """A row with more filled cells than the header has columns: a separator too many."""
    extra = [c for c in cells[len(names) :] if c]
    if not extra:
        return []
    allowed = f"{len(names)} cells as in the header"
    do = "put text that holds the separator in double quotes"
    return [Fault(file, line, f"row {cells[0]}", "-", f"{len(cells)} cells", allowed, do)]


def _cells(names: Sequence[str], cells: Sequence[str], separator: str) -> dict[str, str]:
    """Non-empty cells by column; a decimal comma becomes a point where commas do not separate."""
    row = {}
    for name, cell in zip(names, cells, strict=False):
        if name and cell:
            comma = separator != "," and _DECIMAL_COMMA.fullmatch(cell)
            row[name] = cell.replace(",", ".") if comma else cell
    return row
