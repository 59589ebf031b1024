"""What a site has of its own over the shelf: types, attachments, start values confirmed."""

import tomllib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path

from greaseroute.catalogue.attachment_type import AttachmentType
from greaseroute.catalogue.confirmation import Confirmation, confirmed, stray_lines
from greaseroute.catalogue.machine_type import MachineType
from greaseroute.catalogue.record_text import read_record
from greaseroute.catalogue.shelf import read_attachment, read_type, shelf_names, shelf_type
from greaseroute.errors import Fault, Remark
from greaseroute.site.files.draft import OwnType
from greaseroute.texts.finding import Finding
from greaseroute.texts.limits import limit_faults
from greaseroute.texts.text_file import read_text
from greaseroute.texts.toml_text import TomlText
from greaseroute.texts.validation import unknown_name


@dataclass(frozen=True, slots=True)
class OwnFiles:
    """What a site has of its own: machine types, confirmations of start values, attachments."""

    types: tuple[OwnType, ...]
    confirmations: tuple[Confirmation, ...]
    attachments: dict[str, AttachmentType]


def read_own_files(
    folder: Path, remarks: list[Remark] | None = None
) -> tuple[OwnFiles, list[Fault]]:
    """Every ``types/*.toml`` and ``attachments/*.toml`` of a site folder, by file name.

    A file of ``types/`` that says ``confirms`` is a confirmation of start values, any other a type.
    What is strange but can be read goes to ``remarks``.
    """
    own: list[OwnType] = []
    told: list[Confirmation] = []
    faults: list[Fault] = []
    for path in sorted((folder / "types").glob("*.toml")):
        file = f"types/{path.name}"
        text, wrong = read_text(folder, file, remarks=remarks)
        if "confirms" in _tables(text):
            record, mistakes = read_record(text or "", file, Confirmation, check=_confirms_known)
            told += [record] if record else []
            faults += [*wrong, *mistakes]
            continue
        machine_type = None
        if text is not None:
            machine_type, mistakes = read_type(text, file)
            wrong = [*wrong, *mistakes]
        own.append(OwnType(file, TomlText(text or "", _tables(text)), machine_type))
        faults += [*wrong, *_doubled(own)]
    attachments, wrong = _attachments(folder)
    return OwnFiles(tuple(own), tuple(told), attachments), [*faults, *wrong]


def _attachments(folder: Path) -> tuple[dict[str, AttachmentType], list[Fault]]:
    """The site's own attachments by name."""
    found: dict[str, AttachmentType] = {}
    faults: list[Fault] = []
    for path in sorted((folder / "attachments").glob("*.toml")):
        file = f"attachments/{path.name}"
        text, wrong = read_text(folder, file)
        attachment, mistakes = read_attachment(text, file) if text is not None else (None, ())
        faults += [*wrong, *mistakes]
        if attachment is not None:
            found[attachment.name] = attachment
    return found, faults


def with_confirmations(
    types: Mapping[str, MachineType], told: Iterable[Confirmation]
) -> dict[str, MachineType]:
    """The types with start values confirmed or changed; types that nobody uses are not there."""
    found = dict(types)
    for confirmation in told:
        machine = found.get(confirmation.confirms)
        if machine is not None:
            found[machine.name] = confirmed(machine, confirmation)
    return found


def _confirms_known(told: Confirmation) -> tuple[Finding, ...]:
    """Whether a confirmation is of a type of the shelf and of joints and checks it has."""
    if told.confirms not in shelf_names():
        texts = unknown_name(told.confirms, shelf_names(), define="correct the name")
        return (Finding(("confirms",), told.confirms, *texts),)
    return stray_lines(told, shelf_type(told.confirms))


def type_name(own: OwnType) -> str:
    """The name of an own type, good or not: the one it gives, else that of its file."""
    given = own.text.data.get("name")
    return given if isinstance(given, str) else Path(own.file).stem


def types_in_use(own: Iterable[OwnType], wanted: Iterable[str]) -> dict[str, MachineType]:
    """The good types by name: the site's own, and those of the shelf that are wanted."""
    found = {type_name(o): o.machine_type for o in own if o.machine_type is not None}
    broken = {type_name(o) for o in own if o.machine_type is None}
    on_shelf = set(shelf_names()) - set(found) - broken
    for name in sorted(set(wanted) & on_shelf):
        found[name] = shelf_type(name)
    return dict(sorted(found.items()))


def _tables(text: str | None) -> dict[str, object]:
    """The tables of a type's text, empty where its grammar is broken."""
    if text is None or limit_faults(text, ""):
        return {}
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError:
        return {}


def _doubled(own: list[OwnType]) -> list[Fault]:
    """The fault of the last type if an earlier file gave its name already."""
    last = own[-1]
    same = [o.file for o in own[:-1] if type_name(o) == type_name(last)]
    if not same:
        return []
    name, allowed = type_name(last), f"a name that no other file gives ({same[0]} does)"
    line = last.text.line(("name",))
    return [Fault(last.file, line, f"type {name}", "name", name, allowed, "rename one of them")]
