"""The shelf: machine types and attachments that ship along, and the readers of their files."""

import tomllib
from collections.abc import Mapping
from functools import cache
from importlib.resources import files

from pydantic import ValidationError

from greaseroute.catalogue.attachment_type import AttachmentType
from greaseroute.catalogue.checks.findings import findings
from greaseroute.catalogue.checks.names import unspaced
from greaseroute.catalogue.like import likeness_of, merged
from greaseroute.catalogue.machine_type import MachineType
from greaseroute.catalogue.record_text import faults_of, read_record, record_of, validated
from greaseroute.errors import BadInput, Fault, UnknownName
from greaseroute.texts.toml_text import read_toml

_SHELF = files("greaseroute.catalogue") / "types"
_ATTACHMENTS = files("greaseroute.catalogue") / "attachments"


def shelf_names() -> tuple[str, ...]:
    """Names of the types on the shelf, sorted."""
    entries = (entry.name for entry in _SHELF.iterdir())
    return tuple(sorted(name.removesuffix(".toml") for name in entries if name.endswith(".toml")))


def shelf_text(name: str) -> str:
    """The file of the shelf's type of that name, as text. Raises UnknownName."""
    if name not in shelf_names():
        known = ", ".join(shelf_names())
        raise UnknownName("shelf", repr(name), limit=known, next_step="use one of these names")
    return (_SHELF / f"{name}.toml").read_text(encoding="utf-8")


@cache
def shelf_type(name: str) -> MachineType:
    """The shelf's type of that name. Raises UnknownName; BadInput if its file is at fault.

    Shelf files are known to be sound (every one is read in full by a test), so only their
    records are validated here; that keeps a morning's start short.
    """
    file = f"{name}.toml"
    data = tomllib.loads(shelf_text(name))
    try:
        return validated(data, file, MachineType)
    except ValidationError:
        _, faults = read_type(shelf_text(name), file)
        raise BadInput(file, faults) from None


@cache
def shelf_attachments() -> Mapping[str, AttachmentType]:
    """The attachments of the shelf that any carrier with the right coupling can take, by name."""
    entries = sorted(_ATTACHMENTS.iterdir(), key=lambda entry: entry.name)
    texts = {e.name: e.read_text(encoding="utf-8") for e in entries if e.name.endswith(".toml")}
    found = (validated(tomllib.loads(text), n, AttachmentType) for n, text in texts.items())
    return {attachment.name: attachment for attachment in found}


def read_attachment(text: str, file: str) -> tuple[AttachmentType | None, tuple[Fault, ...]]:
    """An attachment from TOML text, or None and every fault in it, each with its line."""
    return read_record(text, file, AttachmentType, check=lambda a: tuple(unspaced(a.looks)))


def read_type(text: str, file: str) -> tuple[MachineType | None, tuple[Fault, ...]]:
    """A machine type from TOML text, or None and every fault in it, each with its line.

    A text that says ``like`` holds what differs from that type of the shelf and nothing else.
    """
    toml, wrong = read_toml(text, file, record="machine type")
    if wrong:
        return None, tuple(sorted(wrong))
    if "like" in toml.data:
        written = toml
        likeness, found = likeness_of(written.data, shelf_names())
        if likeness is not None:
            base = tomllib.loads(shelf_text(likeness.like))
            toml, found = merged(written, likeness, base)
        if found:
            return None, faults_of(found, written, file, whole="machine type")
    return record_of(toml, file, MachineType, check=findings)
