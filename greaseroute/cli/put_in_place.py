"""One step from the files before to the files after: a folder aside, then an exchange of names.

The files are written into a folder aside on the same disk and brought to disk. Then one rename puts
them in place: a new folder by its name, an old one by an exchange of names (Linux), so that a kill
at any moment leaves the files before or the files after. Where names cannot be exchanged, because
somebody works in the folder or keeps folders in it, the files are renamed one by one.
"""

import ctypes
import errno
import glob
import os
import shutil
import sys
import tempfile
from collections.abc import Iterable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

ASIDE_MARK = ".greaseroute-new-"
NAME_LIMIT = 40  # of the folder's name in the name of the folder aside: names end at 255 bytes
AT_FDCWD, RENAME_EXCHANGE = -100, 2  # linux/fcntl.h, linux/fs.h


@contextmanager
def made_parents(target: Path) -> Iterator[None]:
    """Make the folders above the target; those that were made go again after an OSError."""
    missing = [p for p in target.parents if not p.exists()]
    target.parent.mkdir(parents=True, exist_ok=True)
    try:
        yield
    except OSError:
        for folder in missing:
            with suppress(OSError):
                folder.rmdir()
        raise


def _prefix(target: Path) -> str:
    return f".{target.name[:NAME_LIMIT]}{ASIDE_MARK}"


@contextmanager
def folder_aside(target: Path) -> Iterator[Path]:
    """A folder on the target's disk, locked as long as this process lives, gone in the end.

    It lies beside the target, or inside where one may not write beside it.
    """
    home = target.parent
    if target.exists() and (
        not os.access(home, os.W_OK | os.X_OK) or home.stat().st_dev != target.stat().st_dev
    ):
        home = target
    aside = Path(tempfile.mkdtemp(prefix=_prefix(target), dir=home))
    try:
        with _locked(aside):
            yield aside
    finally:
        shutil.rmtree(aside, ignore_errors=True)


def remove_stale(target: Path) -> None:
    """Take away folders aside that a killed run left: nobody holds their lock."""
    pattern = f"{glob.escape(_prefix(target))}*"
    for home in (target.parent, target):
        for found in home.glob(pattern) if home.is_dir() else ():
            with suppress(OSError), _locked(found, wait=False):
                shutil.rmtree(found, ignore_errors=True)


@contextmanager
def _locked(folder: Path, *, wait: bool = True) -> Iterator[None]:
    """Hold the lock of a folder, which ends with the process. Raises OSError where it is taken.

    Where the platform has no such locks, nothing is locked.
    """
    if sys.platform == "win32":
        yield
        return
    import fcntl

    handle = os.open(folder, os.O_RDONLY)
    try:
        fcntl.flock(handle, fcntl.LOCK_EX | (0 if wait else fcntl.LOCK_NB))
        yield
    finally:
        os.close(handle)


@contextmanager
def only_writer(target: Path) -> Iterator[None]:
    """Two runs that write to the same folder put their sets in place one after the other."""
    home = target.parent
    try:
        handle = os.open(home, os.O_RDONLY)
    except OSError:
        yield
        return
    os.close(handle)
    with _locked(home):
        yield


def write_synced(path: Path, content: bytes) -> None:
    """Write a new file and bring it to disk. Raises OSError."""
    with path.open("xb") as file:
        file.write(content)
        file.flush()
        os.fsync(file.fileno())


def sync_folder(folder: Path) -> None:
    """Bring a folder's names to disk, where the platform lets a folder be opened."""
    if os.name != "posix":
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def umask() -> int:
    """The process's mask; there is no way to read it but to set it and put it back."""
    mask = os.umask(0o077)
    os.umask(mask)
    return mask


def put_in_place(aside: Path, target: Path, *, last: str, gone: Iterable[str]) -> None:
    """Make the files aside those of the target.

    ``gone`` are the target's files to take away; ``last`` is put in place last where the files go
    one by one. Raises OSError.
    """
    gone = set(gone)
    sync_folder(aside)
    if not target.exists():
        aside.chmod(0o777 & ~umask())
        os.rename(aside, target)
        sync_folder(target.parent)
        return
    if not _exchanged(aside, target, gone):
        _one_by_one(aside, target, last=last, gone=gone)


def _exchanged(aside: Path, target: Path, gone: set[str]) -> bool:
    """Whether the whole folder could be put in the old one's place in one step."""
    written = {entry.name for entry in os.scandir(aside)}
    kept = [e for e in os.scandir(target) if e.name not in written | gone]
    if aside.parent == target or not all(e.is_file(follow_symlinks=False) for e in kept):
        return False
    if _is_stood_in(target):
        return False
    try:
        for entry in kept:  # the very same files, under a second name until the exchange
            os.link(entry.path, aside / entry.name, follow_symlinks=False)
        _like(target, aside)
        sync_folder(aside)
        _exchange(aside, target)
    except OSError:
        for entry in kept:
            (aside / entry.name).unlink(missing_ok=True)
        return False
    sync_folder(target.parent)
    _bring_over(aside, target, written | gone)
    return True


def _bring_over(old: Path, target: Path, ours: set[str]) -> None:
    """Keep what somebody put into the old folder while the files were exchanged."""
    for entry in list(os.scandir(old)):
        if entry.name in ours:
            continue
        new = target / entry.name
        if not (new.exists() and new.samefile(entry.path)):
            os.replace(entry.path, new)


def _like(target: Path, aside: Path) -> None:
    """Give the folder aside the owner and mode of the target. Raises OSError where it may not."""
    old, new = target.stat(), aside.stat()
    if (old.st_uid, old.st_gid) != (new.st_uid, new.st_gid):
        os.chown(aside, old.st_uid, old.st_gid)
    shutil.copystat(target, aside)


def _exchange(one: Path, other: Path) -> None:
    """Exchange the names of two folders in one step. Raises OSError where there is no such step."""
    if sys.platform != "linux":
        raise OSError(errno.ENOSYS, "names cannot be exchanged here")
    call = getattr(ctypes.CDLL(None, use_errno=True), "renameat2", None)
    if call is None:
        raise OSError(errno.ENOSYS, "names cannot be exchanged here")
    names = [os.fsencode(path) for path in (one, other)]
    if call(AT_FDCWD, names[0], AT_FDCWD, names[1], RENAME_EXCHANGE) != 0:
        number = ctypes.get_errno()
        raise OSError(number, os.strerror(number))


def _is_stood_in(folder: Path) -> bool:
    """Whether a process works in the folder: a terminal would be left in the old one."""
    with suppress(OSError):
        if _inside(os.getcwd(), folder):
            return True
    for link in Path("/proc").glob("[0-9]*/cwd"):
        with suppress(OSError):
            if _inside(os.readlink(link), folder):
                return True
    return False


def _inside(path: str, folder: Path) -> bool:
    return path == str(folder) or path.startswith(f"{folder}{os.sep}")


def _one_by_one(aside: Path, target: Path, *, last: str, gone: set[str]) -> None:
    """Rename the files into an old folder, one of them last."""
    names = sorted((e.name for e in os.scandir(aside)), key=lambda name: (name == last, name))
    for name in names:
        os.replace(aside / name, target / name)
    for name in gone:
        (target / name).unlink(missing_ok=True)
    sync_folder(target)
