"""The base of every record: frozen, and closed to keys it does not know."""

from pydantic import BaseModel, ConfigDict


class Record(BaseModel):
    """A frozen record that refuses unknown keys, NaN and infinity."""

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)
