"""Reading one text file of a site folder; bad encoding and missing files are faults."""

from pathlib import Path

from greaseroute.errors import Fault


def read_text(folder: Path, name: str, *, needed: bool = True) -> tuple[str | None, list[Fault]]:
    """The text of ``folder/name`` without a byte-order mark, or None and what is wrong with it.

    A file that is not ``needed`` may be missing: then None and no fault.
    """
    path = folder / name
    if not path.is_file():
        return None, [_missing(folder, name)] if needed else []
    try:
        data = path.read_bytes()
    except OSError as error:
        return None, [Fault(name, 1, "file", "-", str(error), "a readable file", "check access")]
    try:
        return data.decode("utf-8-sig"), []
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        value = f"byte 0x{data[error.start]:02x}"
        return None, [Fault(name, line, "file", "encoding", value, "UTF-8", "save it as UTF-8")]


def _missing(folder: Path, name: str) -> Fault:
    """The fault of a file that has to be there; says what lies there instead, if it is close."""
    suffix = Path(name).suffix
    others = sorted(p.name for p in folder.glob(f"*{suffix}")) if folder.is_dir() else []
    hint = f"; the folder holds {', '.join(others)}" if others else ""
    return Fault(name, 1, "folder", "-", "missing", f"a file {name}", f"add it{hint}")
