"""A record of the catalogue from TOML text, or every fault in it with its line."""

from collections.abc import Callable, Iterable, Mapping
from typing import Any, TypeVar

from pydantic import ValidationError

from greaseroute.errors import Fault
from greaseroute.records import Record
from greaseroute.texts.finding import Finding
from greaseroute.texts.toml_places import KeyPath
from greaseroute.texts.toml_text import TomlText, read_toml
from greaseroute.texts.validation import dotted, findings_in

_R = TypeVar("_R", bound=Record)
# What a fault of the whole file is of, by the name of its record.
_WHOLE = {"MachineType": "machine type", "AttachmentType": "attachment"}


def validated(data: Mapping[str, Any], file: str, model: type[_R]) -> _R:
    """The record of a file's tables; strictly, so that a number in quotes is no number.

    Raises ValidationError. TOML has lists where records have tuples; ``source_file`` is set.
    """
    return model.model_validate({**tuples(data), "source_file": file}, strict=True)


def read_record(
    text: str, file: str, model: type[_R], *, check: Callable[[_R], tuple[Finding, ...]]
) -> tuple[_R | None, tuple[Fault, ...]]:
    """A record from TOML text, or None and every fault in it; ``check`` looks at it as a whole."""
    toml, wrong = read_toml(text, file, record=_WHOLE.get(model.__name__, "file"))
    if wrong:
        return None, tuple(sorted(wrong))
    return record_of(toml, file, model, check=check)


def record_of(
    toml: TomlText, file: str, model: type[_R], *, check: Callable[[_R], tuple[Finding, ...]]
) -> tuple[_R | None, tuple[Fault, ...]]:
    """As ``read_record``, from tables that were read before."""
    record = None
    try:
        record = validated(toml.data, file, model)
        found = check(record)
    except ValidationError as error:
        found = tuple(findings_in(error, model))
    faults = faults_of(found, toml, file, whole=_WHOLE.get(model.__name__, "file"))
    return (None, faults) if faults else (record, ())


def faults_of(
    found: Iterable[Finding], toml: TomlText, file: str, *, whole: str
) -> tuple[Fault, ...]:
    """Findings with their lines, sorted; ``whole`` is what one of no record is of."""
    return tuple(sorted(_fault(finding, toml, file=file, whole=whole) for finding in found))


def tuples(value: Any) -> Any:  # noqa: ANN401 - any tree of TOML values
    """The same tree with tuples for lists."""
    if isinstance(value, dict):
        return {key: tuples(inner) for key, inner in value.items()}
    return tuple(map(tuples, value)) if isinstance(value, list) else value


def _fault(finding: Finding, toml: TomlText, *, file: str, whole: str) -> Fault:
    return Fault(
        file=file,
        line=toml.line(finding.path),
        record=_record(finding.path, toml.data, whole),
        field=_field(finding.path, toml.data),
        value=finding.value,
        allowed=finding.allowed,
        do=finding.do,
    )


def _record(path: KeyPath, data: dict[str, Any], whole: str) -> str:
    """The outermost record on a path, such as ``joint 'boom root'``."""
    if not _in_record(path, data):
        return whole
    kind = str(path[0]).replace("_", "-").removesuffix("s")
    name = data[str(path[0])][path[1]].get("name")
    return f"{kind} {name!r}" if isinstance(name, str) else f"{kind} number {int(path[1]) + 1}"


def _field(path: KeyPath, data: dict[str, Any]) -> str:
    return dotted(path[2:] if _in_record(path, data) else path)


def _in_record(path: KeyPath, data: dict[str, Any]) -> bool:
    """Tell whether a path leads into one of a list of tables."""
    if len(path) < 2 or not isinstance(path[1], int):
        return False
    rows = data.get(str(path[0]))
    return isinstance(rows, list) and path[1] < len(rows) and isinstance(rows[path[1]], dict)
