"""Who walks, with which guns and greases, under which working rules."""

from datetime import date, timedelta
from typing import Annotated, Self

from pydantic import Field, field_validator, model_validator

from greaseroute.records import Record
from greaseroute.site.moment import time_of_day


class Grease(Record):
    """One grease the site keeps. ``usable_share`` is the part of a cartridge that comes out.

    ``stock_cartridges`` is what lies in the store; None where nobody said.
    """

    name: str = Field(min_length=1)
    nlgi: str
    thickener: str
    moly: bool = False
    code: str | None = None
    density_g_cm3: float = Field(default=0.90, gt=0.5, lt=2.0)
    cartridge_g: float = Field(default=400.0, gt=0)
    usable_share: float = Field(default=0.95, gt=0, le=1)
    reserve_cartridges: int = Field(default=1, ge=0)
    pack_kg: tuple[float, ...] = ()
    price_per_kg: float | None = Field(default=None, ge=0)
    stock_cartridges: float | None = Field(default=None, ge=0)
    lead_time_days: float = Field(default=5.0, ge=0)


class Gun(Record):
    """One grease gun: it holds one grease, ever.

    Give ``stroke_cm3``, or ``ten_strokes_g`` (ten strokes weighed, the usual calibration).
    ``left_strokes``: what is still in it at the start; 0 means a cartridge is put in first.
    ``priming_strokes`` are lost after each change; ``change_s`` is the time of a change.
    """

    name: str = Field(min_length=1)
    grease: str
    stroke_cm3: float | None = Field(default=None, gt=0)
    ten_strokes_g: float | None = Field(default=None, gt=0)
    stroke_s: float = Field(default=1.5, gt=0)
    priming_strokes: int = Field(default=3, ge=0)
    left_strokes: int = Field(default=0, ge=0)
    change_s: float = Field(default=90.0, ge=0)
    hose_m: float = Field(default=0.254, ge=0)
    couplers: tuple[str, ...] = ("conical", "remote", "flush")

    @model_validator(mode="after")
    def _measured_once(self) -> Self:
        if (self.stroke_cm3 is None) == (self.ten_strokes_g is None):
            raise ValueError("give stroke_cm3 or ten_strokes_g, not both")
        return self


class Reach(Record):
    """Where a technician's hand gets to, and what each height costs.

    Height bands after British body sizes, 5th percentile woman, overhead grip 1.79 m plus shoes:
    kneel up to 0.30 m, stoop to 0.60, stand to 1.50, overhead to 1.80. Band times (s, down and
    up again) are settings; kneeling both knees and arising is 146.1 TMU = 5.26 s, bending and
    arising 60.9 TMU = 2.19 s (MTM-1, from memory).
    """

    arm_m: float = Field(default=0.60, gt=0)
    shoulder_m: float = Field(default=1.40, gt=0)
    kneel_to_m: float = 0.30
    stoop_to_m: float = 0.60
    stand_to_m: float = 1.50
    overhead_to_m: float = 1.80
    kneel_s: float = 5.26
    stoop_s: float = 2.19
    stand_s: float = 0.0
    overhead_s: float = 2.0
    couple_s: float = 8.0
    settle_s: float = 5.0
    climb_m_s: float = Field(default=0.30, gt=0)


def _clock_text(text: str | None) -> str | None:
    return None if text is None else f"{time_of_day(text):%H:%M}"


class Technician(Record):
    """One technician: where the walk starts and ends, guns, bag, skills, pace.

    ``starts_at`` is a local time of day ``HH:MM`` where it is not the round's start. ``pace``
    multiplies the time planned for fittings of a kind of joint: 1.2 where a fifth longer is taken.
    """

    name: str = Field(min_length=1)
    start: str
    finish: str
    guns: tuple[str, ...] = Field(min_length=1)
    bag_cartridges: int = Field(default=6, ge=1)
    speed_m_s: float | None = Field(default=None, gt=0, lt=3)
    starts_at: str | None = None
    skills: tuple[str, ...] = ()
    reach: Reach = Reach()
    pace: dict[str, Annotated[float, Field(gt=0.1, lt=10)]] = Field(default_factory=dict)
    learner: bool = False

    @field_validator("starts_at")
    @classmethod
    def _clock(cls, text: str | None) -> str | None:
        return _clock_text(text)


class Severity(Record):
    """A working condition that shortens intervals: interval x ``interval_factor``.

    ``season_from`` and ``season_to`` are days of the year ``MM-DD`` between which it holds, both
    counted in; over the new year where the first is the later. All year where neither is given.
    """

    name: str = Field(min_length=1)
    interval_factor: float = Field(gt=0, le=1)
    season_from: str | None = None
    season_to: str | None = None

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

    ``posture_moves``: an operator may be asked to move a unit into another posture, at
    ``posture_move_min`` minutes each. ``look_s`` is the time of one look point.
    ``second_person_from``, ``second_person_to``: local times of day ``HH:MM`` between which
    somebody instructed is at hand for procedures that need a second person; always if neither is
    given.
    """

    clearance_m: float = Field(default=0.25, ge=0, le=3)
    look_ahead_h: float = Field(default=0.0, ge=0)
    walking_speed_m_s: float = Field(default=1.2, gt=0, lt=3)
    isolation_s: float = Field(default=120.0, ge=0)
    posture_moves: bool = True
    posture_move_min: float = Field(default=3.0, ge=0)
    reload_s: float = Field(default=60.0, ge=0)
    look_s: float = Field(default=10.0, ge=0)
    second_person_from: str | None = None
    second_person_to: str | None = None

    @field_validator("second_person_from", "second_person_to")
    @classmethod
    def _clock(cls, text: str | None) -> str | None:
        return _clock_text(text)

    @model_validator(mode="after")
    def _both_hours(self) -> Self:
        if (self.second_person_from is None) != (self.second_person_to is None):
            raise ValueError("give second_person_from and second_person_to, or neither")
        return self
