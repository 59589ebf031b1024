"""One line on stderr that says how far a long job has come; silent where nobody watches."""

import sys
from typing import TextIO

LINE_WIDTH = 78


class Progress:
    """Call it with a text to replace the line; leave the ``with`` block to wipe it."""

    def __init__(self, stream: TextIO | None = None) -> None:
        self._stream = stream or sys.stderr
        self._shown = self._stream.isatty()

    def __call__(self, text: str) -> None:
        """Show ``text`` in place of the line before."""
        if self._shown:
            self._stream.write("\r" + text[:LINE_WIDTH].ljust(LINE_WIDTH))
            self._stream.flush()

    def __enter__(self) -> "Progress":
        return self

    def __exit__(self, *_: object) -> None:
        if self._shown:
            self._stream.write("\r" + " " * LINE_WIDTH + "\r")
            self._stream.flush()
