"""Reading one text file of a site folder; bad encoding, size and missing files are faults."""

import sys
from pathlib import Path

from greaseroute.errors import Fault, Remark
from greaseroute.texts.limits import MOST_BYTES

STANDARD_INPUT = "-"
UTF_16_SAMPLE = 200  # bytes looked at where a text may be UTF-16 without its mark


def read_text(
    folder: Path, name: str, *, needed: bool = True, remarks: list[Remark] | None = None
) -> tuple[str | None, list[Fault]]:
    """The text of ``folder/name`` without a byte-order mark, or None and what is wrong with it.

    A file that is not ``needed`` may be missing: then None and no fault. A text in UTF-16 or
    Windows-1252 is read all the same, which goes to ``remarks``. The name ``-`` is standard input,
    as where a file is named on the command line.
    """
    path = folder / name
    if name != STANDARD_INPUT and not path.is_file():
        return None, [_missing(folder, name)] if needed else []
    try:
        data = _bytes(path)
    except OSError as error:
        value = error.strerror or str(error)
        return None, [Fault(name, 1, "file", "-", value, "a readable file", "check access")]
    if len(data) > MOST_BYTES:
        allowed = f"a file of at most {MOST_BYTES >> 20} MiB"
        return None, [Fault(name, 1, "file", "size", "larger", allowed, "split or shorten it")]
    return _decoded(data, name, [] if remarks is None else remarks)


def _bytes(path: Path) -> bytes:
    """What a file holds, or standard input; one byte more than is allowed at the most."""
    if path.name == STANDARD_INPUT:
        return sys.stdin.buffer.read(MOST_BYTES + 1)
    with path.open("rb") as file:
        return file.read(MOST_BYTES + 1)


def _decoded(data: bytes, name: str, remarks: list[Remark]) -> tuple[str | None, list[Fault]]:
    """The text of some bytes, in whatever of the common encodings it was saved."""
    try:
        if not _looks_like_utf_16(data):
            return data.decode("utf-8-sig"), []
        line, encoding = 1, "utf-16" if data[:2] in (b"\xff\xfe", b"\xfe\xff") else "utf-16-le"
    except UnicodeDecodeError as error:
        line, encoding = data.count(b"\n", 0, error.start) + 1, "cp1252"
    try:
        text = data.decode(encoding)
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        value = f"byte 0x{data[error.start]:02x}"
        return None, [Fault(name, line, "file", "encoding", value, "UTF-8", "save it as UTF-8")]
    shown = "Windows-1252" if encoding == "cp1252" else "UTF-16"
    do = "it was read so; look at its letters, and save it as UTF-8"
    remarks.append(Remark(name, line, "file", "encoding", shown, "UTF-8", do))
    return text, []


def _looks_like_utf_16(data: bytes) -> bool:
    """Whether a mark says so, or every second byte of the beginning is zero."""
    if data[:2] in (b"\xff\xfe", b"\xfe\xff"):
        return True
    seconds = data[1:UTF_16_SAMPLE:2]
    return len(seconds) > 1 and seconds.count(0) > 0.9 * len(seconds)


def _missing(folder: Path, name: str) -> Fault:
    """The fault of a file that has to be there; says what lies there instead, if it is close."""
    suffix = Path(name).suffix
    others = sorted(p.name for p in folder.glob(f"*{suffix}")) if folder.is_dir() else []
    hint = f"; the folder holds {', '.join(others)}" if others else ""
    return Fault(name, 1, "folder", "-", "missing", f"a file {name}", f"add it{hint}")
