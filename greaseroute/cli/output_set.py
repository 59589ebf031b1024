"""The files that a verb writes, put into their folder together: all of them, or none.

A manifest lies beside them, with the SHA-256 of each file and of what it was made from. A set that
does not agree with its manifest has been changed, or its writing was broken off.
"""

import errno
import hashlib
import json
import os
from collections.abc import Iterable, Iterator, Mapping
from contextlib import suppress
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from greaseroute import __version__
from greaseroute.cli.put_in_place import (
    folder_aside,
    made_parents,
    only_writer,
    put_in_place,
    remove_stale,
    write_synced,
)
from greaseroute.errors import GreaserouteError

MANIFEST = "manifest.json"
READ = frozenset({".toml", ".csv", ".geojson", ".sqlite"})  # kinds of files of a site folder

# What to do about a folder that cannot be written to, by the error of the system.
NEXT_STEP = {
    errno.ENOSPC: "make room on that disk, or name a folder on another one",
    errno.EDQUOT: "make room in your quota, or name a folder on another disk",
    errno.EFBIG: "raise the limit on the size of a file (`ulimit -f`)",
    errno.EACCES: "name a folder that you may write to",
    errno.EPERM: "name a folder that you may write to",
    errno.EROFS: "name a folder on a disk that can be written to",
    errno.ENAMETOOLONG: "use a shorter name",
}


class OutputRefused(GreaserouteError):
    """A folder that a set of files cannot be written to."""


@dataclass(frozen=True, slots=True)
class OutputSet:
    """Where one verb writes: the folder, the verb's name, the names that it may write.

    ``inputs`` gives the SHA-256 of each file that was read, by its name.
    """

    folder: Path
    verb: str
    names: tuple[str, ...]
    inputs: Mapping[str, str] = field(default_factory=dict)

    def check(self) -> None:
        """Refuse a folder that cannot be written to, before anything is worked out.

        What a killed run left aside is taken away. Raises `OutputRefused`.
        """
        if str(self.folder) == "-":
            raise _refused(
                self.folder, "standard output", limit="a folder: several files are written"
            )
        target = _real(self.folder)
        if target.exists() and not target.is_dir():
            raise _refused(self.folder, "a file", limit="a folder, new or old")
        nearest = next(p for p in (target, *target.parents) if p.exists())
        if not nearest.is_dir():
            raise _refused(
                self.folder, f"{_shown(nearest)} is a file", limit="a folder, new or old"
            )
        if not os.access(nearest, os.W_OK | os.X_OK):
            raise _refused(
                self.folder,
                f"{_shown(nearest)} may not be written to",
                limit="a folder of your own",
            )
        for name in self.names:
            if (target / name).is_dir():
                raise _refused(
                    self.folder / name,
                    "a folder",
                    limit="a file",
                    next_step="move it, or name another folder",
                )
        remove_stale(target)

    def write(self, files: Mapping[str, bytes]) -> None:
        """Put the files in place together, with the manifest.

        Files of other verbs and of other people stay as they are; those of this verb's earlier run
        that are not written again go, unless somebody has changed them. Raises `OutputRefused`.
        """
        target = _real(self.folder)
        try:
            with made_parents(target), folder_aside(target) as aside, only_writer(target):
                before = read_manifest(target)
                manifest = self._manifest(files, before)
                for name, content in {**files, MANIFEST: manifest}.items():
                    write_synced(aside / name, content)
                gone = [n for n in self._outdated(files, before) if _unchanged(target, n, before)]
                put_in_place(aside, target, last=MANIFEST, gone=gone)
        except OSError as error:
            raise _unwritable(self.folder, error) from error

    def _outdated(self, files: Mapping[str, bytes], before: Mapping[str, Any]) -> Iterator[str]:
        """Names of this verb's earlier run that are not written again."""
        for name in _part(before, "sets", self.verb).get("files", {}):
            if name not in files and name == Path(name).name:
                yield name

    def _manifest(self, files: Mapping[str, bytes], before: Mapping[str, Any]) -> bytes:
        """The manifest with this verb's set in place of its earlier one."""
        sets = {k: v for k, v in _part(before, "sets").items() if isinstance(v, dict)}
        sets[self.verb] = {
            "made_by": f"greaseroute {__version__}",
            "inputs": dict(sorted(self.inputs.items())),
            "files": {name: sha256(content) for name, content in sorted(files.items())},
        }
        text = json.dumps({"hash": "sha256", "sets": sets}, indent=1, sort_keys=True)
        return text.encode() + b"\n"


def sha256(content: bytes) -> str:
    """SHA-256 of some bytes, hexadecimal."""
    return hashlib.sha256(content).hexdigest()


def hashes_of(folder: Path, names: Iterable[str] | None = None) -> dict[str, str]:
    """SHA-256 of each file under a folder by its path there; of what cannot be read nothing.

    Without ``names`` those of a site: the files that greaseroute reads.
    """
    if names is None:
        own = sorted(p.relative_to(folder).as_posix() for p in folder.glob("types/*.toml"))
        tops = sorted(p.name for p in folder.glob("*") if p.suffix in READ)
        names = [*tops, *own]
    hashes = {}
    for name in names:
        with suppress(OSError):
            hashes[name] = _file_hash(folder / name)
    return hashes


def read_manifest(folder: Path) -> dict[str, Any]:
    """The manifest of a folder; an empty one where there is none, or none that can be read."""
    try:
        found = json.loads((folder / MANIFEST).read_bytes())
    except (OSError, ValueError, RecursionError):
        return {}
    return found if isinstance(found, dict) else {}


def broken_files(folder: Path) -> list[str]:
    """Names of files that are missing or differ from what the folder's manifest says."""
    sets = _part(read_manifest(folder), "sets").values()
    listed = {n: h for s in sets if isinstance(s, dict) for n, h in _part(s, "files").items()}
    found = hashes_of(folder, listed)
    return sorted(name for name, digest in listed.items() if found.get(name) != digest)


def _file_hash(path: Path) -> str:
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def _part(table: Mapping[str, Any], *keys: str) -> dict[str, Any]:
    """The table at the end of some keys, or an empty one."""
    for key in keys:
        inner = table.get(key)
        table = inner if isinstance(inner, dict) else {}
    return dict(table)


def _unchanged(folder: Path, name: str, manifest: Mapping[str, Any]) -> bool:
    """Whether a file is as some verb left it."""
    listed = [_part(manifest, "sets", verb, "files") for verb in _part(manifest, "sets")]
    return hashes_of(folder, [name]).get(name) in [files.get(name) for files in listed]


def _real(folder: Path) -> Path:
    """The folder itself, where a link leads to it."""
    return Path(os.path.realpath(folder))


def _shown(path: Path) -> str:
    return path.as_posix()


def _refused(
    folder: Path, value: str, *, limit: str, next_step: str = "give another --out"
) -> OutputRefused:
    return OutputRefused(f"--out {_shown(folder)}", value, limit=limit, next_step=next_step)


def _unwritable(folder: Path, error: OSError) -> OutputRefused:
    what = (error.strerror or str(error)).lower()
    step = NEXT_STEP.get(error.errno or 0, "give another --out")
    value = f"{what}; the folder is as it was"
    return _refused(folder, value, limit="a folder to write to", next_step=step)
