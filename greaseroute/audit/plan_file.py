"""Plans as they were written: read back from their JSON files, every mistake told with its line."""

from itertools import pairwise
from pathlib import Path
from typing import TypeVar

from pydantic import BaseModel, ValidationError

from greaseroute.errors import BadInput, Fault
from greaseroute.texts.json_text import locate, parsed
from greaseroute.texts.text_file import read_text
from greaseroute.texts.validation import Path as KeyPath
from greaseroute.texts.validation import Source, faults_of, line_in

Plan = TypeVar("Plan", bound=BaseModel)


def read_plan(path: Path, model: type[Plan]) -> Plan:
    """The plan of a file. Raises BadInput with every mistake in it."""
    name = path.as_posix()
    text, faults = read_text(path.parent, path.name)
    if text is None:
        raise BadInput(name, [_renamed(fault, name) for fault in faults])
    data, broken = parsed(text, name)
    if broken:
        raise BadInput(name, broken)
    try:
        return model.model_validate(data)
    except ValidationError as error:
        index = locate(text)

        def line_of(key: KeyPath) -> int:
            return line_in(index, key)

        raise BadInput(name, faults_of(error, model, Source(name, line_of, _record))) from error


def _record(key: KeyPath) -> str:
    """What a value belongs to, in the words of the plan: ``technicians 1, stops 3``."""
    pairs = pairwise(key)
    told = [f"{part} {which + 1}" for part, which in pairs if isinstance(which, int)]
    return ", ".join(told) or "plan"


def _renamed(fault: Fault, name: str) -> Fault:
    """The fault under the path as it was given."""
    return Fault(name, fault.line, fault.record, fault.field, fault.value, fault.allowed, fault.do)
