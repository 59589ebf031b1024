"""Files written whole or not at all: a temporary file beside the target, fsync, rename."""

import os
import tempfile
from pathlib import Path


def write_bytes(path: Path, content: bytes) -> None:
    """Write ``content`` to ``path`` so that a crash leaves the old file or the new one.

    The folder is made if needed. Raises ``OSError`` where it cannot be written.
    """
    path.parent.mkdir(parents=True, exist_ok=True)
    handle, name = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}.", suffix=".part")
    try:
        with os.fdopen(handle, "wb") as part:
            part.write(content)
            part.flush()
            os.fsync(part.fileno())
        os.chmod(name, 0o666 & ~_umask())
        os.replace(name, path)
    except BaseException:
        Path(name).unlink(missing_ok=True)
        raise
    _sync_folder(path.parent)


def write_text(path: Path, text: str, *, encoding: str = "utf-8") -> None:
    """Write ``text`` to ``path`` as by `write_bytes`; line ends stay as they are in ``text``."""
    write_bytes(path, text.encode(encoding))


def _umask() -> int:
    """The process's mask; there is no way to read it but to set it and put it back."""
    mask = os.umask(0)
    os.umask(mask)
    return mask


def _sync_folder(folder: Path) -> None:
    """Make the rename itself durable, where the platform lets a folder be opened."""
    if os.name != "posix":
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
