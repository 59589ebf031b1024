"""Machine types: the site's own in ``types/*.toml``, over the shelf's."""

import tomllib
from collections.abc import Iterable
from pathlib import Path

from greaseroute.catalogue.machine_type import MachineType
from greaseroute.catalogue.shelf import read_type, shelf_names, shelf_type
from greaseroute.errors import Fault, Remark
from greaseroute.site.files.draft import OwnType
from greaseroute.texts.limits import limit_faults
from greaseroute.texts.text_file import read_text
from greaseroute.texts.toml_text import TomlText


def read_own_types(
    folder: Path, remarks: list[Remark] | None = None
) -> tuple[tuple[OwnType, ...], list[Fault]]:
    """Every ``types/*.toml`` of a site folder, in the order of the file names.

    What is strange but can be read goes to ``remarks``.
    """
    own: list[OwnType] = []
    faults: list[Fault] = []
    for path in sorted((folder / "types").glob("*.toml")):
        file = f"types/{path.name}"
        text, wrong = read_text(folder, file, remarks=remarks)
        machine_type = None
        if text is not None:
            machine_type, mistakes = read_type(text, file)
            wrong = [*wrong, *mistakes]
        own.append(OwnType(file, TomlText(text or "", _tables(text)), machine_type))
        faults += [*wrong, *_doubled(own)]
    return tuple(own), faults


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
