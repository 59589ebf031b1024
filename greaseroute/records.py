"""The base of every record: frozen, and closed to keys it does not know; numbers with bounds."""

from typing import Any

from pydantic import BaseModel, ConfigDict, Field
from pydantic_core import PydanticUndefined


class Record(BaseModel):
    """A frozen record that refuses unknown keys, NaN and infinity."""

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)


def number(
    about: str,
    *,
    least: float,
    greatest: float,
    unit: str = "",
    default: Any = PydanticUndefined,  # noqa: ANN401 (a number, None, or nothing at all)
    usual: tuple[float, float] | None = None,
) -> Any:  # noqa: ANN401 (stands in a class body for the field)
    """A number that is read: what it is, its unit, the least and greatest that can be meant.

    ``usual`` is the range that is commonly found: what lies beyond is read, and remarked on. All
    of it stands in the JSON Schema.
    """
    extra: dict[str, Any] = {"unit": unit} if unit else {}
    if usual is not None:
        extra["usual"] = list(usual)
    return Field(default, ge=least, le=greatest, description=about, json_schema_extra=extra)


def about(text: str, default: Any = PydanticUndefined, **limits: Any) -> Any:  # noqa: ANN401
    """Any other field, with the sentence that says what it is; ``limits`` go to ``Field``."""
    return Field(default, description=text, **limits)


def usual_range(model: type[BaseModel], field: str) -> tuple[float, float] | None:
    """The range commonly found of a field made by `number`, None where none is given."""
    extra = model.model_fields[field].json_schema_extra
    usual = extra.get("usual") if isinstance(extra, dict) else None
    return (usual[0], usual[1]) if isinstance(usual, list) else None  # type: ignore[return-value]
