"""Who walks, with which guns and greases, under which working rules."""

from datetime import date, timedelta
from typing import Annotated, Literal, Self

from pydantic import Field, field_validator, model_validator

from greaseroute.records import Record, about, number
from greaseroute.site.moment import time_of_day
from greaseroute.site.reach import Reach


class Grease(Record):
    """One grease the site keeps. ``usable_share`` is the part of a cartridge that comes out.

    ``stock_cartridges`` is what lies in the store; None where nobody said. ``purpose``: joints
    that want that take no other grease, and it goes into no other joint.
    """

    name: str = about("what the site calls it, such as 'EP 2'", min_length=1)
    nlgi: str = about("NLGI grade: 000, 00, 0, 1, 2, 3 ...")
    thickener: str = about("thickener, such as lithium, lithium complex, calcium sulphonate")
    moly: bool = about("whether it holds molybdenum disulphide", False)
    code: str | None = about("designation such as KP2K-30 (DIN 51825)", None)
    purpose: str | None = about("what alone it is for, such as 'chisel paste'", None, min_length=1)
    density_g_cm3: float = number(
        "grams of a cm3: strokes are counted in cm3 and cartridges in grams",
        default=0.90, least=0.5, greatest=2.0, unit="g/cm3", usual=(0.85, 1.15),
    )  # fmt: skip
    cartridge_g: float = number(
        "grease in a full cartridge; a pail that a gun sucks from counts as one",
        default=400.0, least=20.0, greatest=50_000.0, unit="g", usual=(80.0, 600.0),
    )  # fmt: skip
    usable_share: float = number(
        "part of a cartridge that comes out", default=0.95, least=0.2, greatest=1.0,
        usual=(0.8, 1.0),
    )  # fmt: skip
    reserve_cartridges: int = number(
        "cartridges carried beyond what the round takes", default=1, least=0, greatest=100,
        usual=(0, 6),
    )  # fmt: skip
    pack_kg: tuple[Annotated[float, Field(ge=0.05, le=1000.0)], ...] = about(
        "packs it can be ordered in, 0.05 to 1,000 kg", ()
    )
    price_per_kg: float | None = number(
        "price in the site's own currency", default=None, least=0.0, greatest=100_000.0, unit="1/kg"
    )
    stock_cartridges: float | None = number(
        "cartridges in the store", default=None, least=0.0, greatest=100_000.0
    )
    lead_time_days: float = number(
        "days from order to delivery", default=5.0, least=0.0, greatest=365.0, unit="d",
        usual=(0.0, 60.0),
    )  # fmt: skip


class Gun(Record):
    """One grease gun: it holds one grease, ever.

    Give ``stroke_cm3``, or ``ten_strokes_g`` (ten strokes weighed, the usual calibration).
    ``left_strokes``: what is still in it at the start; 0 means a cartridge is put in first.
    ``priming_strokes`` are lost after each change; ``change_s`` is the time of a change.
    """

    name: str = about("what the site calls it", min_length=1)
    grease: str = about("the grease it holds, by name")
    stroke_cm3: float | None = number(
        "grease of one full stroke", default=None, least=0.05, greatest=50.0, unit="cm3",
        usual=(0.4, 3.0),
    )  # fmt: skip
    ten_strokes_g: float | None = number(
        "grease of ten strokes, weighed", default=None, least=0.5, greatest=500.0, unit="g",
        usual=(4.0, 30.0),
    )  # fmt: skip
    stroke_s: float = number(
        "time of one stroke", default=1.5, least=0.05, greatest=60.0, unit="s", usual=(0.3, 5.0)
    )
    priming_strokes: int = number(
        "strokes lost after each change of cartridge", default=3, least=0, greatest=200,
        usual=(0, 15),
    )  # fmt: skip
    left_strokes: int = number(
        "strokes left in it at the start; at 0 a cartridge is fitted first", default=0, least=0,
        greatest=100_000,
    )  # fmt: skip
    change_s: float = number(
        "time of a change of cartridge", default=90.0, least=0.0, greatest=3600.0, unit="s",
        usual=(20.0, 400.0),
    )  # fmt: skip
    hose_m: float = number(
        "length of the hose, which lengthens the arm", default=0.254, least=0.0, greatest=20.0,
        unit="m", usual=(0.0, 2.0),
    )  # fmt: skip
    couplers: tuple[str, ...] = ("conical", "remote", "flush")
    held_before: str = about(
        "a grease of the site, or a thickener, that it held before and was not cleaned of",
        default="",
    )

    @model_validator(mode="after")
    def _measured_once(self) -> Self:
        if (self.stroke_cm3 is None) == (self.ten_strokes_g is None):
            raise ValueError("give stroke_cm3 or ten_strokes_g, not both")
        return self


def _clock_text(text: str | None) -> str | None:
    return None if text is None else f"{time_of_day(text):%H:%M}"


class Technician(Record):
    """One technician: where the walk starts and ends, guns, bag, skills, pace.

    ``starts_at`` is a local time of day ``HH:MM`` where it is not the round's start. ``pace``
    multiplies the time planned for fittings of a kind of joint: 1.2 where a fifth longer is taken.
    """

    name: str = about("who it is", min_length=1)
    start: str = about("the place where the walk starts, by its name in ground.geojson")
    finish: str = about("the place where the walk ends, by its name in ground.geojson")
    guns: tuple[str, ...] = about("the guns carried, by name; one for each grease", min_length=1)
    bag_cartridges: int = number(
        "full cartridges carried at a time", default=6, least=1, greatest=1000, usual=(1, 40)
    )
    speed_m_s: float | None = number(
        "walking speed, where it is not the site's", default=None, least=0.2, greatest=2.9,
        unit="m/s", usual=(0.7, 1.7),
    )  # fmt: skip
    starts_at: str | None = about(
        "local time HH:MM of the start, where it is not round_start", None
    )
    skills: tuple[str, ...] = about("what the technician is instructed in or licensed for", ())
    reach: Reach = about("where the hand gets to, and what each height costs", Reach())
    pace: dict[str, Annotated[float, Field(gt=0.1, lt=10)]] = Field(
        default_factory=dict, description="factor on the planned time, by kind of joint; 0.1 to 10"
    )
    learner: bool = about("whether this is the one to be shown (first-day)", False)

    @field_validator("starts_at")
    @classmethod
    def _clock(cls, text: str | None) -> str | None:
        return _clock_text(text)


class Severity(Record):
    """A working condition that shortens intervals: interval x ``interval_factor``.

    ``season_from`` and ``season_to`` are days of the year ``MM-DD`` between which it holds, both
    counted in; over the new year where the first is the later. All year where neither is given.
    """

    name: str = about("the condition, such as dust or water", min_length=1)
    interval_factor: float = number(
        "factor on every interval", least=0.05, greatest=1.0, usual=(0.2, 1.0)
    )
    season_from: str | None = about("day of the year MM-DD from which it holds", None)
    season_to: str | None = about("day of the year MM-DD until which it holds", None)

    @field_validator("season_from", "season_to")
    @classmethod
    def _day(cls, text: str | None) -> str | None:
        if text is not None:
            try:
                date.fromisoformat(f"2000-{text}")  # a leap year, so that 02-29 is a day
            except ValueError:
                raise ValueError("a day of the year MM-DD, such as 05-01") from None
        return text

    @model_validator(mode="after")
    def _both_days(self) -> Self:
        if (self.season_from is None) != (self.season_to is None):
            raise ValueError("give season_from and season_to, or neither")
        return self

    def met_between(self, first: date, last: date) -> bool:
        """Whether the season meets the days from ``first`` to ``last``, both counted in."""
        if self.season_from is None or self.season_to is None or (last - first).days >= 366:
            return True
        days = (first + timedelta(days=k) for k in range((last - first).days + 1))
        return any(self._holds(f"{day:%m-%d}") for day in days)

    def _holds(self, day: str) -> bool:
        begin, end = self.season_from or day, self.season_to or day
        return begin <= day <= end if begin <= end else day >= begin or day <= end


class WorkingRules(Record):
    """Rules of the site that every stage reads.

    Hours of a second person stand for one [[person]] more who may operate every machine.
    """

    clearance_m: float = number(
        "distance kept from every obstacle and machine while walking", default=0.25, least=0.0,
        greatest=3.0, unit="m", usual=(0.1, 1.0),
    )  # fmt: skip
    look_ahead_h: float = number(
        "meter hours by which a service may be early, so that no day between is missed",
        default=0.0, least=0.0, greatest=1000.0, unit="h", usual=(0.0, 24.0),
    )  # fmt: skip
    walking_speed_m_s: float = number(
        "walking speed on level ground", default=1.2, least=0.2, greatest=2.9, unit="m/s",
        usual=(0.7, 1.7),
    )  # fmt: skip
    isolation_s: float = number(
        "time to isolate a unit: engine off, key out, locked and tagged", default=120.0,
        least=0.0, greatest=7200.0, unit="s", usual=(20.0, 900.0),
    )  # fmt: skip
    posture_moves: bool = about("whether an operator may be asked to move a unit", True)
    posture_move_min: float = number(
        "time of one such move: clear and seen, horn, lift, move, lower",
        default=3.0, least=0.0, greatest=240.0, unit="min", usual=(0.0, 30.0),
    )  # fmt: skip
    reload_s: float = number(
        "time to fetch cartridges at a store", default=60.0, least=0.0, greatest=3600.0, unit="s",
        usual=(0.0, 600.0),
    )  # fmt: skip
    reach_through_barriers: bool = about(
        "whether an arm with a gun may go over or through any barrier, not only low ones", False
    )
    look_s: float = number(
        "time of one check of the daily checks", default=10.0, least=0.0, greatest=600.0, unit="s",
        usual=(0.0, 120.0),
    )  # fmt: skip
    second_person_from: str | None = about(
        "local time HH:MM from which somebody is at hand for procedures of two people", None
    )
    second_person_to: str | None = about("local time HH:MM until which", None)
    start_values: Literal["allowed", "forbidden"] = about(
        "whether intervals and doses that nobody has confirmed for this site may be used", "allowed"
    )
    toe_clearance_m: float = number(
        "distance kept from the toe of a stockpile, heap or tip",
        default=0.5, least=0.0, greatest=30.0, unit="m", usual=(0.0, 10.0),
    )  # fmt: skip
    edge_clearance_m: float = number(
        "distance kept from a face, and from an edge one could fall over",
        default=2.0, least=0.0, greatest=30.0, unit="m", usual=(0.0, 10.0),
    )  # fmt: skip
    water_clearance_m: float = number(
        "distance kept from water",
        default=1.5, least=0.0, greatest=30.0, unit="m", usual=(0.0, 10.0),
    )  # fmt: skip
    no_entry_clearance_m: float = number(
        "distance kept from a zone that nobody may enter, such as one closed for charging",
        default=2.0, least=0.0, greatest=30.0, unit="m", usual=(0.0, 10.0),
    )  # fmt: skip
    haul_road_clearance_m: float = number(
        "distance kept from a haul road, but at its crossings",
        default=0.5, least=0.0, greatest=30.0, unit="m", usual=(0.0, 10.0),
    )  # fmt: skip
    rail_clearance_m: float = number(
        "distance kept from a rail, but at its gates",
        default=1.5, least=0.0, greatest=30.0, unit="m", usual=(0.0, 10.0),
    )  # fmt: skip
    unlock_s: float = number(
        "time to go out, clear the machine and take lock and tag off, before it is moved",
        default=60.0, least=0.0, greatest=3600.0, unit="s", usual=(10.0, 300.0),
    )  # fmt: skip
    swing_gap_m: float = number(
        "gap that a machine which is slewed or moved keeps from everything round it",
        default=0.5, least=0.0, greatest=20.0, unit="m", usual=(0.3, 3.0),
    )  # fmt: skip
    stand_clear_m: float = number(
        "distance of a stand-clear place from all that moves", default=1.0, least=0.0,
        greatest=30.0, unit="m", usual=(0.5, 10.0),
    )  # fmt: skip
    tick_isolation_steps: bool = about(
        "whether the card asks for a tick at each step that isolates a unit, and at each step of a "
        "call by itself", False,
    )  # fmt: skip

    check_in_min: float = number(
        "longest time between two words of a technician that all is well; common practice",
        default=60.0, least=5.0, greatest=480.0, unit="min", usual=(15.0, 120.0),
    )  # fmt: skip
    check_in_with: str = about(
        "with whom technicians check in, with a number or a channel; empty: who of the people "
        "is at hand, else who else walks", ""
    )  # fmt: skip

    @field_validator("second_person_from", "second_person_to")
    @classmethod
    def _clock(cls, text: str | None) -> str | None:
        return _clock_text(text)

    @model_validator(mode="after")
    def _both_hours(self) -> Self:
        if (self.second_person_from is None) != (self.second_person_to is None):
            raise ValueError("give second_person_from and second_person_to, or neither")
        return self
