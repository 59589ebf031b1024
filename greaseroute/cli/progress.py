"""One line on stderr that says how far a long job has come; silent where nobody watches."""

import argparse
import sys
import time
from collections.abc import Sequence
from typing import TextIO

LINE_WIDTH = 78


class Progress:
    """Call it with a text to replace the line; leave the ``with`` block to wipe it.

    Parameters
    ----------
    stream : text stream, optional
        Where the line goes: standard error.
    stages : sequence of str
        The beginnings of the texts that tell of a new stage, in their order. The line then says
        which stage it is, of how many, and the seconds since the beginning.
    quiet : bool
        Nothing is shown at all.
    verbose : bool
        Each stage is kept as a line of its own, also where no terminal watches.
    """

    def __init__(
        self,
        stream: TextIO | None = None,
        *,
        stages: Sequence[str] = (),
        quiet: bool = False,
        verbose: bool = False,
    ) -> None:
        self._stream = stream or sys.stderr
        self._stages, self._stage = stages, 0
        self._quiet, self._verbose = quiet, verbose and not quiet
        self._shown = self._stream.isatty() and not quiet
        self._begun = time.monotonic()

    def __call__(self, text: str) -> None:
        """Show ``text`` in place of the line before."""
        new = self._is_new_stage(text)
        line = self._place() + text
        if self._verbose and (new or not self._stages):
            self._stream.write(self._blank() + line + "\n")
        elif self._shown:
            self._stream.write("\r" + line[:LINE_WIDTH].ljust(LINE_WIDTH))
        self._stream.flush()

    def note(self, text: str) -> None:
        """Show a line that stays, whether a terminal watches or not."""
        if not self._quiet:
            self._stream.write(f"{self._blank()}greaseroute: {text}\n")
            self._stream.flush()

    def _is_new_stage(self, text: str) -> bool:
        for number, begin in enumerate(self._stages, start=1):
            if text.startswith(begin) and number > self._stage:
                self._stage = number
                return True
        return False

    def _place(self) -> str:
        if not self._stages:
            return ""
        seconds = time.monotonic() - self._begun
        return f"{max(self._stage, 1)}/{len(self._stages)}, {seconds:.0f} s: "

    def _blank(self) -> str:
        """What wipes the line where one is shown."""
        return "\r" + " " * LINE_WIDTH + "\r" if self._shown else ""

    def __enter__(self) -> "Progress":
        return self

    def __exit__(self, *_: object) -> None:
        self._stream.write(self._blank())
        self._stream.flush()


def progress_for(args: argparse.Namespace, stages: Sequence[str] = ()) -> Progress:
    """The progress of a verb, as loud as ``--quiet`` and ``--verbose`` ask for."""
    return Progress(stages=stages, quiet=args.quiet, verbose=args.verbose)
