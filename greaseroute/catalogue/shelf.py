"""The shelf: machine types that ship with the package, and the reader of any type file."""

from functools import cache
from importlib.resources import files

from pydantic import ValidationError

from greaseroute.catalogue.machine_type import MachineType
from greaseroute.catalogue.toml_lines import read_toml
from greaseroute.errors import BadInput, Fault, UnknownName

_SHELF = files("greaseroute.catalogue") / "types"


def shelf_names() -> tuple[str, ...]:
    """Names of the types on the shelf, sorted."""
    entries = (entry.name for entry in _SHELF.iterdir())
    return tuple(sorted(name.removesuffix(".toml") for name in entries if name.endswith(".toml")))


@cache
def shelf_type(name: str) -> MachineType:
    """The shelf's type of that name. Raises UnknownName; BadInput if its file is at fault."""
    if name not in shelf_names():
        known = ", ".join(shelf_names())
        raise UnknownName("shelf", repr(name), limit=known, next_step="use one of these names")
    file = f"{name}.toml"
    machine, faults = read_type((_SHELF / file).read_text(encoding="utf-8"), file)
    if machine is None:
        raise BadInput(file, faults)
    return machine


def read_type(text: str, file: str) -> tuple[MachineType | None, tuple[Fault, ...]]:
    """A machine type from TOML text, or every fault in it with its line."""
    toml = read_toml(text)
    try:
        return MachineType.model_validate({**toml.data, "source_file": file}), ()
    except ValidationError as error:
        return None, tuple(
            Fault(file, toml.at(e["loc"])[0], file, str(e["loc"]), str(e["input"]), e["msg"], "mend it")
            for e in error.errors()
        )
