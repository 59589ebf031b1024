"""Ctrl-C at any moment: at once with exit code 130, or, where a plan is under way, an exception.

While libraries load, an exception would be swallowed by some of them, or end in a traceback; so a
handler leaves the process there and then. Where a piece of work can be ended with something useful
it runs inside `stoppable`. This module imports almost nothing: it is loaded before all others.
"""

import os
import signal
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from types import FrameType
from typing import NoReturn

INTERRUPTED = 130
STDERR = 2


def leave_at_once(*_: object) -> NoReturn:
    """Say that the run was interrupted and leave; copies of the process end with it."""
    try:
        os.write(STDERR, b"\n" * _at_a_terminal() + b"greaseroute: interrupted\n")
    finally:
        os._exit(INTERRUPTED)


def leave_on_interrupt() -> None:
    """Let Ctrl-C leave the process at once, unless whoever started it had it ignored."""
    if signal.getsignal(signal.SIGINT) is not signal.SIG_IGN:
        signal.signal(signal.SIGINT, leave_at_once)


@contextmanager
def stoppable() -> Iterator[None]:
    """Raise ``KeyboardInterrupt`` in the block at the first Ctrl-C; a second one leaves at once."""
    if signal.getsignal(signal.SIGINT) is not leave_at_once:
        yield
        return
    signal.signal(signal.SIGINT, _raise_once)
    try:
        yield
    finally:
        signal.signal(signal.SIGINT, leave_at_once)


def _raise_once(number: int, frame: FrameType | None) -> NoReturn:
    signal.signal(number, leave_at_once)
    raise KeyboardInterrupt


def _at_a_terminal() -> bool:
    """Whether a line of progress may stand where the message goes."""
    return os.isatty(STDERR)


def open_standard_streams() -> None:
    """Give each standard stream that is closed the null device.

    Without it the next file that is opened would take its place.
    """
    for number, mode in ((0, os.O_RDONLY), (1, os.O_WRONLY), (2, os.O_WRONLY)):
        try:
            os.fstat(number)
        except OSError:
            os.open(os.devnull, mode)  # the lowest number that is free, which is this one
    if sys.stdin is None:
        sys.stdin = open(0, encoding="utf-8")  # noqa: SIM115
    if sys.stdout is None:
        sys.stdout = open(1, "w", encoding="utf-8")  # noqa: SIM115
    if sys.stderr is None:
        sys.stderr = open(2, "w", encoding="utf-8")  # noqa: SIM115
