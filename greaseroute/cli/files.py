"""Files written whole or not at all: a temporary file beside the target, fsync, rename."""

import os
import tempfile
from pathlib import Path

from greaseroute.cli.put_in_place import sync_folder, umask


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
        os.chmod(name, 0o666 & ~umask())
        os.replace(name, path)
    except BaseException:
        Path(name).unlink(missing_ok=True)
        raise
    sync_folder(path.parent)


def write_text(path: Path, text: str, *, encoding: str = "utf-8") -> None:
    """Write ``text`` to ``path`` as by `write_bytes`; line ends stay as they are in ``text``."""
    write_bytes(path, text.encode(encoding))
