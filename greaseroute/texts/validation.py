"""From validation errors to faults a person can mend: file, line, field, value, what is allowed."""

import difflib
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, get_args

from pydantic import BaseModel, ValidationError

from greaseroute.errors import Fault, clipped
from greaseroute.texts.finding import Finding

Path = tuple[str | int, ...]

ENOUGH = 1000  # characters of a value that are looked at to show its beginning
BOUNDS = {
    "gt": "above {:.9g}",
    "ge": "at least {:.9g}",
    "lt": "below {:.9g}",
    "le": "at most {:.9g}",
}
LENGTHS = {"too_short", "too_long"}
OUT_OF_BOUNDS = {"greater_than", "greater_than_equal", "less_than", "less_than_equal"}

# What each kind of validation error means in plain words; {names} come from the error itself.
ALLOWED = {
    "string_too_short": "text that is not empty",
    "string_type": "text",
    "bool_type": "true or false",
    "bool_parsing": "true or false",
    "int_type": "a whole number",
    "int_parsing": "a whole number",
    "int_from_float": "a whole number",
    "float_type": "a number",
    "float_parsing": "a number",
    "finite_number": "a finite number",
    "tuple_type": "a list",
    "too_short": "at least {min_length} in the list",
    "too_long": "at most {max_length} in the list",
    "model_type": "a table of fields",
    "model_attributes_type": "a table of fields",
    "dict_type": "a table of fields",
    "literal_error": "one of {expected}",
    "datetime_parsing": "a date and time such as 2026-11-25T05:00",
    "datetime_from_date_parsing": "a date and time such as 2026-11-25T05:00",
}


@dataclass(frozen=True, slots=True)
class Source:
    """Where a record was read from: its file, the line of each value, and what to call it.

    ``line_of`` and ``record_of`` take the path of a value inside the record; ``columns`` gives
    the name in the file of a field that is called otherwise in the record.
    """

    file: str
    line_of: Callable[[Path], int]
    record_of: Callable[[Path], str]
    columns: Mapping[str, str] = field(default_factory=dict)


def near(name: str, known: Sequence[str]) -> str:
    """``did you mean 'x'?``, or an empty text where nothing known is close to ``name``."""
    close = difflib.get_close_matches(name.lower(), [k.lower() for k in known], n=1, cutoff=0.6)
    for candidate in known:
        if close and candidate.lower() == close[0]:
            return f"did you mean {candidate!r}?"
    return ""


def one_of(known: Sequence[str], *, limit: int = 30) -> str:
    """The names one may use, in quotes, cut after ``limit``."""
    names = list(dict.fromkeys(known))
    listed = ", ".join(repr(k) for k in names[:limit])
    rest = f" and {len(names) - limit} more" if len(names) > limit else ""
    return f"one of {listed}{rest}" if names else "nothing: none is defined"


def unknown_name(name: str, known: Sequence[str], *, define: str) -> tuple[str, str]:
    """The ``allowed`` and ``do`` texts of a fault about a name that nothing carries."""
    return one_of(known), near(name, known) or define


def line_in(index: Mapping[Path, tuple[int, int]], path: Path) -> int:
    """Line of ``path``, or of the nearest thing around it that is in the index, or 1."""
    while path and path not in index:
        path = path[:-1]
    return index.get(path, (1, 1))[0]


def shown(value: object) -> str:
    """A value as a person would write it, cut to fit a line; of a table the names of its fields."""
    if isinstance(value, Mapping):
        value = ", ".join(map(str, value))
    text = value if isinstance(value, str) else repr(value)
    return clipped(" ".join(text[:ENOUGH].split()))


def dotted(path: Path) -> str:
    """A path as people write it, entries from 1: ``gun.2.name``."""
    return ".".join(str(part + 1) if isinstance(part, int) else part for part in path) or "-"


def faults_of(error: ValidationError, model: type[BaseModel], source: Source) -> Iterator[Fault]:
    """Every mistake of a validation error as a fault."""
    for found in findings_in(error, model):
        yield Fault(
            file=source.file,
            line=source.line_of(found.path),
            record=source.record_of(found.path),
            field=_field(found.path, source.columns),
            value=found.value,
            allowed=found.allowed,
            do=found.do,
        )


def findings_in(error: ValidationError, model: type[BaseModel]) -> Iterator[Finding]:
    """Every mistake of a validation error by its path; ``model`` is what was validated."""
    items = error.errors(include_url=False)
    for item in items:
        path: Path = tuple(item["loc"])
        if item["type"] == "too_short" and any(
            i["loc"][: len(path)] == path != i["loc"] for i in items
        ):
            continue  # too short only for want of the entries whose mistakes are told anyway
        kind, context = str(item["type"]), item.get("ctx", {})
        holder = _holder(model, path)
        allowed, do = _texts(kind, context, list(holder.model_fields))
        value = _value(kind, context, item["input"])
        if kind == "extra_forbidden":
            do = near(str(path[-1]), list(holder.model_fields)) or do
        if kind in OUT_OF_BOUNDS:
            allowed = _bounds(holder, str(path[-1]))
        yield Finding(path, value, allowed, do)


def _value(kind: str, context: Mapping[str, Any], given: object) -> str:
    """What is there, in words; of a list that is too short or too long the number."""
    if kind in LENGTHS:
        return f"{context.get('actual_length') or 'nothing'} in the list"
    return "nothing" if kind == "missing" else shown(given)


def _texts(kind: str, context: Mapping[str, Any], known: Sequence[str]) -> tuple[str, str]:
    """The ``allowed`` and ``do`` texts for one kind of validation error."""
    if kind == "missing":
        return "a value", "add it"
    if kind == "extra_forbidden":
        return f"the fields {', '.join(known)}", "take it out"
    if kind in {"value_error", "assertion_error"}:
        return str(context.get("error", "see the guide")), "correct it"
    return ALLOWED.get(kind, kind.replace("_", " ")).format(**context), "correct it"


def _field(path: Path, columns: Mapping[str, str]) -> str:
    """Dotted name of a field without the place of the record in its list; entries from 1."""
    names = [str(p + 1) if isinstance(p, int) else columns.get(p, p) for p in path]
    if len(path) >= 2 and isinstance(path[0], str) and isinstance(path[1], int):
        names = names[2:]
    return ".".join(names) or "-"


def _holder(model: type[BaseModel], path: Path) -> type[BaseModel]:
    """The model that holds the last step of ``path``."""
    for step in path[:-1]:
        if isinstance(step, str) and step in model.model_fields:
            model = _inner_model(model.model_fields[step].annotation) or model
    return model


def _bounds(model: type[BaseModel], name: str) -> str:
    """Both bounds of a number: ``a number at least 0 and below 360``."""
    metadata = model.model_fields[name].metadata if name in model.model_fields else []
    told = [
        text.format(getattr(limit, bound))
        for limit in metadata
        for bound, text in BOUNDS.items()
        if hasattr(limit, bound)
    ]
    return f"a number {' and '.join(told)}"


def _inner_model(annotation: object) -> type[BaseModel] | None:
    """The record class inside an annotation such as ``tuple[Gun, ...]``, if there is one."""
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation
    return next((m for a in get_args(annotation) if (m := _inner_model(a))), None)
