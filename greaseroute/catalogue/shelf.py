"""The shelf: machine types that ship with the package, and the reader of any type file."""

import tomllib
from functools import cache
from importlib.resources import files
from typing import Any

from pydantic import ValidationError

from greaseroute.catalogue.checks.findings import findings
from greaseroute.catalogue.machine_type import MachineType
from greaseroute.errors import BadInput, Fault, UnknownName
from greaseroute.texts.finding import Finding
from greaseroute.texts.plain_words import findings_in
from greaseroute.texts.toml_places import KeyPath
from greaseroute.texts.toml_text import TomlText, read_toml

_SHELF = files("greaseroute.catalogue") / "types"


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
        return _validated(data, file)
    except ValidationError:
        _, faults = read_type(shelf_text(name), file)
        raise BadInput(file, faults) from None


def read_type(text: str, file: str) -> tuple[MachineType | None, tuple[Fault, ...]]:
    """A machine type from TOML text, or None and every fault in it, each with its line."""
    toml, wrong = read_toml(text, file, record="machine type")
    if wrong:
        return None, tuple(sorted(wrong))
    try:
        machine = _validated(toml.data, file)
        found = findings(machine)
    except ValidationError as error:
        found = tuple(findings_in(error, MachineType))
    faults = tuple(sorted(_fault(finding, toml, file=file) for finding in found))
    return (None, faults) if faults else (machine, ())


def _validated(data: dict[str, Any], file: str) -> MachineType:
    """Strictly: a number in quotes is no number. TOML has lists where records have tuples."""
    return MachineType.model_validate({**_tuples(data), "source_file": file}, strict=True)


def _tuples(value: Any) -> Any:  # noqa: ANN401 - any tree of TOML values
    if isinstance(value, dict):
        return {key: _tuples(inner) for key, inner in value.items()}
    return tuple(map(_tuples, value)) if isinstance(value, list) else value


def _fault(finding: Finding, toml: TomlText, *, file: str) -> Fault:
    return Fault(
        file=file,
        line=toml.line(finding.path),
        record=_record(finding.path, toml.data),
        field=_field(finding.path, toml.data),
        value=finding.value,
        allowed=finding.allowed,
        do=finding.do,
    )


def _record(path: KeyPath, data: dict[str, Any]) -> str:
    """The outermost record on a path, such as ``joint 'boom root'``."""
    if not _in_record(path, data):
        return "machine type"
    kind = str(path[0]).replace("_", "-").removesuffix("s")
    name = data[str(path[0])][path[1]].get("name")
    return f"{kind} {name!r}" if isinstance(name, str) else f"{kind} number {int(path[1]) + 1}"


def _field(path: KeyPath, data: dict[str, Any]) -> str:
    inner = path[2:] if _in_record(path, data) else path
    return ".".join(str(part) for part in inner) or "-"


def _in_record(path: KeyPath, data: dict[str, Any]) -> bool:
    """Tell whether a path leads into one of a list of tables."""
    if len(path) < 2 or not isinstance(path[1], int):
        return False
    rows = data.get(str(path[0]))
    return isinstance(rows, list) and path[1] < len(rows) and isinstance(rows[path[1]], dict)
