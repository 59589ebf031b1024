"""What pydantic found wrong, in plain words."""

from collections.abc import Iterator, Mapping
from typing import Any, get_args

from pydantic import BaseModel, ValidationError

from greaseroute.texts.finding import Finding
from greaseroute.texts.toml_places import KeyPath
from greaseroute.texts.validation import shown

_KINDS = {
    "float_type": "a number",
    "int_type": "a whole number",
    "string_type": "a text in quotes",
    "bool_type": "true or false",
    "tuple_type": "a list in square brackets",
    "dict_type": "a table of keys and values",
    "dict_attributes_type": "a table of keys and values",
    "model_type": "a table of keys and values",
    "model_attributes_type": "a table of keys and values",
    "finite_number": "a finite number",
}
_BOUNDS = {
    "greater_than": ("above", "gt"),
    "greater_than_equal": ("at least", "ge"),
    "less_than": ("below", "lt"),
    "less_than_equal": ("at most", "le"),
}


def findings_in(error: ValidationError, model: type[BaseModel]) -> Iterator[Finding]:
    """Each fault of a validation as a finding; ``model`` is what was validated."""
    for detail in error.errors():
        yield _finding(dict(detail), model)


def _finding(detail: Mapping[str, Any], model: type[BaseModel]) -> Finding:
    path: KeyPath = detail["loc"]
    kind, context = detail["type"], detail.get("ctx", {})
    value = shown(detail["input"])
    if kind == "extra_forbidden":
        known = ", ".join(_keys_at(model, path[:-1]))
        return Finding(path, value, f"one of the keys {known}", f"take out {path[-1]!r} or mend it")
    if kind == "missing":
        return _missing(path)
    if kind in ("too_short", "too_long"):
        return _count(path, context, short=kind == "too_short")
    if kind == "string_too_short":
        return Finding(path, value, "a text that is not empty", "fill it in")
    return Finding(path, value, _allowed(kind, context, detail["msg"]), "mend the value")


def _allowed(kind: str, context: Mapping[str, Any], message: str) -> str:
    if kind in _KINDS:
        return _KINDS[kind]
    if kind in _BOUNDS:
        word, key = _BOUNDS[kind]
        return f"{word} {context[key]:g}"
    if kind == "literal_error":
        return f"one of {context['expected']}"
    if kind == "value_error":
        return str(context["error"])
    if kind == "string_pattern_mismatch":
        return "lower-case letters, digits and hyphens"
    return message.lower()


def _missing(path: KeyPath) -> Finding:
    if isinstance(path[-1], int):
        return Finding(path, "too few", "one number more", "fill the list up")
    return Finding(path, "missing", "a value", f"add the key {path[-1]!r}")


def _count(path: KeyPath, context: Mapping[str, Any], *, short: bool) -> Finding:
    there = context.get("actual_length")
    limit = context.get("min_length") if short else context.get("max_length")
    value = f"{there} in the list" if there else "an empty list"
    if path[-1] == "fittings" and not there:
        return Finding(path, "no fitting", "a joint has at least one", "add its fittings")
    word = "at least" if short else "at most"
    return Finding(path, value, f"{word} {limit}", "add more" if short else "take some out")


def _keys_at(model: type[BaseModel], path: KeyPath) -> tuple[str, ...]:
    """Keys that a table may have, found by walking the fields along a path."""
    here: Any = model
    for part in path:
        if isinstance(part, str) and isinstance(here, type) and issubclass(here, BaseModel):
            here = _record_in(here.model_fields[part].annotation)
    if isinstance(here, type) and issubclass(here, BaseModel):
        return tuple(here.model_fields)
    return ()


def _record_in(annotation: Any) -> Any:  # noqa: ANN401 - an annotation can be anything
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation
    inner = (_record_in(argument) for argument in get_args(annotation))
    return next((found for found in inner if found is not None), None)
