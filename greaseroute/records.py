"""The base of every record: frozen, and closed to keys it does not know; bounds of its values."""

from collections.abc import Callable
from datetime import date, datetime
from typing import Annotated, Any

from pydantic import AfterValidator, BaseModel, ConfigDict, Field
from pydantic_core import PydanticUndefined

# Years in which clocks and calendars are known well enough, with room for a day on either side.
FIRST_YEAR, LAST_YEAR = 1971, 2199


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


def _dated(parse: Callable[[str], date], such_as: str) -> Callable[[str], str]:
    """What refuses a text that ``parse`` does not read, or of a year out of bounds."""

    def checked(text: str) -> str:
        try:
            year = parse(text).year
        except ValueError:
            year = 0
        if not FIRST_YEAR <= year <= LAST_YEAR:
            raise ValueError(such_as)
        return text

    return checked


_moment = _dated(datetime.fromisoformat, "a date and time such as 2026-11-25T05:00:00+01:00")
_day = _dated(date.fromisoformat, "a date such as 2026-11-25")

Moment = Annotated[str, AfterValidator(_moment)]
"""Text of a moment: ISO 8601. That it has an offset is a promise of the plan, which is audited."""

MomentOrNone = Annotated[str, AfterValidator(lambda text: text and _moment(text))]
"""The same, or an empty text where there is none."""

Day = Annotated[str, AfterValidator(_day)]
"""Text of a date: ISO 8601."""
