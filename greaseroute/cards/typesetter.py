"""PDF by typst, without a browser and without fonts of the machine (extra ``pdf``)."""

import json
from datetime import datetime
from importlib.util import find_spec
from typing import Any

from greaseroute.cards.pages import part
from greaseroute.errors import UnknownName


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
