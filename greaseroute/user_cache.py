"""The folder of what is kept for one user: in the user's own cache, or among temporary files."""

import os
import tempfile
from collections.abc import Iterator
from contextlib import suppress
from functools import cache
from pathlib import Path

from platformdirs import user_cache_path

FOLDER_VARIABLE = "GREASEROUTE_CACHE_DIR"
PART_PREFIX = ".part-"
STALE_PART_S = 3600.0  # no kernel takes an hour to write


@cache
def cache_root() -> Path | None:
    """The folder of all that is kept, or None where this user has none.

    ``GREASEROUTE_CACHE_DIR`` names it; else it is ``greaseroute`` in the platform's cache folder,
    or, for a user without a home, ``greaseroute-`` and the user's number in the folder for
    temporary files. A folder that belongs to another user is not used: kept code is run as this
    user.
    """
    return next((root for root in cache_roots() if is_usable(root)), None)


def cache_roots() -> Iterator[Path]:
    """The folders that come into question, the best first."""
    named = os.environ.get(FOLDER_VARIABLE)
    if named:
        yield Path(named)
        return
    yield user_cache_path("greaseroute", appauthor=False)
    with suppress(OSError):  # no folder for temporary files either
        user = os.geteuid() if hasattr(os, "geteuid") else "user"
        yield Path(tempfile.gettempdir(), f"greaseroute-{user}")


def is_usable(root: Path) -> bool:
    """Whether a folder is this user's own, or can be made."""
    if not root.is_absolute():
        return False
    if os.path.lexists(root):
        return root.is_dir() and _is_own(root)
    return takes_files(next(p for p in root.parents if os.path.exists(p)))


def takes_files(folder: Path) -> bool:
    """Whether files can be written in a folder: tried, since rights alone do not tell it."""
    try:
        with tempfile.TemporaryFile(dir=folder):
            return True
    except OSError:
        return False


def make_own(folder: Path) -> None:
    """Make the folder, for this user alone. Raises OSError where it is another user's.

    Files that a killed process left half-written there are taken away.
    """
    for made in (folder.parent, folder):  # parents made on the way would be open to all
        if not made.is_dir():
            made.mkdir(mode=0o700, parents=True, exist_ok=True)
    if not _is_own(folder):
        raise PermissionError(f"{folder} belongs to another user")
    for part in folder.glob(f"{PART_PREFIX}*"):
        with suppress(OSError):
            newest_s = folder.stat().st_mtime
            if newest_s - part.stat().st_mtime > STALE_PART_S:
                part.unlink()


def _is_own(path: Path) -> bool:
    with suppress(OSError):  # a link counts as what it is, not as what it leads to
        return is_trusted(path.lstat().st_uid)
    return False


def is_trusted(uid: int) -> bool:
    """Whether a file of that user is to be trusted; always where users have no number."""
    return not hasattr(os, "geteuid") or uid == os.geteuid()
