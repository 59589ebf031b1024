"""The units of a site: what stands where, in which posture, with how many hours."""

from datetime import datetime, time

from pydantic import Field

from greaseroute.records import Record


class Unit(Record):
    """One machine on the site, by its fleet number.

    ``x_m`` east and ``y_m`` north in the site's local plane; ``heading_deg`` compass, clockwise
    from north. ``parked_from``/``parked_to`` bound the window in which it stands and may be
    worked on (zone of the site, None = open); a window that is the same every day is kept in
    ``parked_from_clock``/``parked_to_clock`` instead, and ``moment.parked_window`` gives the one
    around a moment. ``attachments`` name the ones fitted. ``skill``: what whoever works on it must
    be instructed in or licensed for. ``line`` is its line in ``fleet.csv``.
    """

    unit: str = Field(min_length=1)
    type: str
    x_m: float
    y_m: float
    heading_deg: float = Field(ge=0, lt=360)
    posture: str = "parked"
    slew_deg: float = Field(default=0.0, ge=-360, le=360)
    meter_h: float = Field(ge=0)
    hours_per_day: float = Field(default=8.0, ge=0, le=24)
    parked_from: datetime | None = None
    parked_to: datetime | None = None
    parked_from_clock: time | None = None
    parked_to_clock: time | None = None
    severity: str | None = None
    attachments: tuple[str, ...] = ()
    skill: str | None = Field(default=None, min_length=1)
    notes: str = ""
    line: int = 0


class LastService(Record):
    """A service done: of one joint, or of every joint of an interval class (``joint``).

    ``fitting``: of that fitting alone. ``at`` carries the site's zone; ``line`` is the line in
    ``last_services.csv``.
    """

    unit: str
    joint: str
    fitting: str | None = None
    at: datetime
    meter_h: float = Field(ge=0)
    line: int = 0


class MeterReading(Record):
    """A dated reading of a unit's hour meter; ``at`` carries the site's zone.

    ``new_meter``: the first reading of a replaced meter, below which nothing earlier counts.
    ``undated``: taken from the fleet list, so that it was read some time before ``at``.
    """

    unit: str
    at: datetime
    meter_h: float = Field(ge=0)
    new_meter: bool = False
    undated: bool = False
    line: int = 0
