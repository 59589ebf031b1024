"""Compiled code before it is needed: told, with progress, and never twice."""

import os

from greaseroute.cli.progress import Progress
from greaseroute.errors import UnknownName

ONCE = "compiling the inner loops once, which takes about a minute; they are kept in {folder}"
IN_MEMORY = (
    "compiling the inner loops, which takes about a minute; they cannot be kept: no folder of "
    "this user can be written to (name one with {variable})"
)
THREADS = "NUMBA_NUM_THREADS"


def ready_kernels(progress: Progress) -> None:
    """Compile what is not kept, after saying so."""
    from greaseroute.kernel_cache import can_keep, missing_kernels
    from greaseroute.user_cache import FOLDER_VARIABLE, cache_root

    if not missing_kernels():
        return
    from greaseroute.warm_up import warm_up

    kept = can_keep()
    progress.note(
        ONCE.format(folder=cache_root()) if kept else IN_MEMORY.format(variable=FOLDER_VARIABLE)
    )
    warm_up(progress)


def check_environment() -> None:
    """Refuse a setting of numba's that would end in a traceback when it is loaded.

    Raises UnknownName.
    """
    told = os.environ.get(THREADS)
    if told is not None and not (told.isascii() and told.isdigit() and int(told) > 0):
        raise UnknownName(
            f"environment variable {THREADS}", repr(told), limit="a whole number from 1 up",
            next_step="correct it, or unset it",
        )  # fmt: skip
