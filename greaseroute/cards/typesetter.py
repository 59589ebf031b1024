"""PDF by typst, without a browser and without fonts of the machine (extra ``pdf``)."""

import json
import re
from collections.abc import Sequence
from datetime import datetime
from importlib.util import find_spec
from typing import Any

from greaseroute.cards.pages import part
from greaseroute.errors import UnknownName

# Numbers in the drawings are 10.5 px high: at 0.272 mm a pixel they stand 8.1 pt high on paper.
MM_PER_PX = 0.272
WIDEST_MM = 80.0


def pdf_ready() -> bool:
    """Whether the typesetter and the maker of codes are installed."""
    return find_spec("typst") is not None and find_spec("segno") is not None


def typeset(template: str, data: dict[str, Any], moment: datetime) -> bytes:
    """The PDF of a template of this package and its data; ``moment`` is the time it is dated.

    The same data give the same bytes. Raises UnknownName where the typesetter is not installed.
    """
    if not pdf_ready():
        raise UnknownName(
            "format", "'pdf'", limit="with the extra pdf", next_step="pip install greaseroute[pdf]"
        )
    import typst  # an extra, and slow to load

    made: bytes = typst.compile(
        part(template).encode(),
        ignore_system_fonts=True,
        sys_inputs={"data": json.dumps(data, ensure_ascii=False)},
        timestamp=int(moment.timestamp()),
    )
    return made


def halved(entries: Sequence[list[str]]) -> list[list[list[str]]]:
    """The entries in two columns, cut where both hold most nearly as many letters; none: none."""
    if not entries:
        return []
    lengths = [sum(len(text) for text in entry) for entry in entries]
    whole = sum(lengths)
    cut = min(range(1, len(entries) + 1), key=lambda k: abs(2 * sum(lengths[:k]) - whole))
    return [list(entries[:cut]), list(entries[cut:])]


def capital(text: str) -> str:
    """The text with a capital at its beginning, as a sentence or a line of its own has it."""
    return text[:1].upper() + text[1:]


def sized_picture(svg: str, style: str) -> dict[str, Any]:
    """A drawing with its style, and the width in mm at which its numbers can be read."""
    found = re.search(r'viewBox="\S+ \S+ (\S+) ', svg)
    assert found is not None, "a drawing has a viewBox"
    width_mm = min(float(found.group(1)) * MM_PER_PX, WIDEST_MM)
    return {"svg": svg.replace("<title>", f"<style>{style}</style><title>", 1), "mm": width_mm}
