"""The units of a site: what stands where, in which posture, with how many hours."""

from datetime import datetime, time

from pydantic import Field

from greaseroute.records import Record, about, number


class Unit(Record):
    """One machine on the site, by its fleet number.

    ``x_m`` east and ``y_m`` north in the site's local plane; ``heading_deg`` compass, clockwise
    from north. ``parked_from``/``parked_to`` bound the window in which it stands and may be
    worked on (zone of the site, None = open); a window that is the same every day is kept in
    ``parked_from_clock``/``parked_to_clock`` instead, and ``moment.parked_window`` gives the one
    around a moment. ``attachments`` name the ones fitted. ``skill``: what whoever works on it must
    be instructed in or licensed for. ``line`` is its line in ``fleet.csv``.
    """

    unit: str = about("fleet number", min_length=1)
    type: str = about("machine type: one of the shelf, or one of types/*.toml")
    x_m: float = number(
        "east coordinate of the slew axis or the axle middle (lon where the site is in lon/lat)",
        least=-1e8, greatest=1e8, unit="m",
    )  # fmt: skip
    y_m: float = number(
        "north coordinate (lat where the site is in lon/lat)", least=-1e8, greatest=1e8, unit="m"
    )
    heading_deg: float = Field(
        ge=0, lt=360, description="compass heading of the front, clockwise from north",
        json_schema_extra={"unit": "deg"},
    )  # fmt: skip
    posture: str = about("how it stands: parked, greasing or another posture of its type", "parked")
    slew_deg: float = number(
        "turn of the upperstructure to the left, against the tracks", default=0.0, least=-360.0,
        greatest=360.0, unit="deg",
    )  # fmt: skip
    meter_h: float = number(
        "reading of the hour meter", least=0.0, greatest=200_000.0, unit="h", usual=(0.0, 60_000.0)
    )
    hours_per_day: float = number(
        "hours it works on a day", default=8.0, least=0.0, greatest=24.0, unit="h/d",
        usual=(0.0, 22.0),
    )  # fmt: skip
    parked_from: datetime | None = about("from when it stands: HH:MM, or a date and time", None)
    parked_to: datetime | None = about("until when it stands: HH:MM, or a date and time", None)
    parked_from_clock: time | None = about("the same as a time of every day", None)
    parked_to_clock: time | None = about("the same as a time of every day", None)
    severity: str | None = about("working condition, by its name in site.toml", None)
    attachments: tuple[str, ...] = about("attachments fitted, split by | or ;", ())
    skill: str | None = about("what whoever works on it must be licensed for", None, min_length=1)
    notes: str = about("anything else", "")
    line: int = about("line in the file", 0)


class LastService(Record):
    """A service done: of one joint, or of every joint of an interval class (``joint``).

    ``fitting``: of that fitting alone. ``at`` carries the site's zone; ``line`` is the line in
    ``last_services.csv``.
    """

    unit: str = about("fleet number")
    joint: str = about("a joint of its type, or an interval class such as '50 h' for all of it")
    fitting: str | None = about("one fitting of the joint, where it was greased alone", None)
    at: datetime = about("when it was done, local date and time")
    meter_h: float = number("meter at that time", least=0.0, greatest=200_000.0, unit="h")
    line: int = about("line in the file", 0)


class MeterReading(Record):
    """A dated reading of a unit's hour meter; ``at`` carries the site's zone.

    ``new_meter``: the first reading of a replaced meter, below which nothing earlier counts.
    ``undated``: taken from the fleet list, so that it was read some time before ``at``.
    """

    unit: str = about("fleet number")
    at: datetime = about("when it was read, local date and time")
    meter_h: float = number("what it showed", least=0.0, greatest=200_000.0, unit="h")
    new_meter: bool = about("whether this is the first reading of a new meter", False)
    undated: bool = about("whether it was read some time before ``at``", False)
    line: int = about("line in the file", 0)
