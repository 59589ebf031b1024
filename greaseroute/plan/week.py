"""What ``week.json`` holds. Nothing here computes; anyone may read it."""

from typing import Literal

from pydantic import Field

from greaseroute.plan.round import LeftOut
from greaseroute.records import Record


class DayHours(Record):
    """Hours of one unit on a working day. ``source`` says what they rest on."""

    unit: str
    mean_h: float = Field(ge=0)
    sd_h: float = Field(ge=0)
    source: Literal["meter readings", "fleet list"]
    readings: int = 0
    falls: int = 0


class Pack(Record):
    """``count`` packs of ``size_kg`` each, with the word for that size."""

    count: int
    size_kg: float
    word: str


WEEK_FORMAT = "greaseroute week 1"


class PlannedService(Record):
    """One service on its morning. ``due`` is the date it falls due, ``days_moved`` the mornings
    it was brought forward (negative) or put back."""

    unit: str
    joint: str
    interval: str
    due: str
    days_moved: int
    fittings: int
    strokes: int
    grease: str
    backlog: bool = False


class TechnicianMorning(Record):
    """One technician's walk of one morning, in minutes, metres and strokes."""

    name: str
    walk_min: float
    wait_min: float
    work_min: float
    walk_m: float
    strokes: int
    start: str
    finish: str

    @property
    def minutes(self) -> float:
        """Walking, waiting and working together."""
        return self.walk_min + self.wait_min + self.work_min


class MorningPlan(Record):
    """One morning: the services given to it and the round planned for them.

    ``estimate_min`` is what the levelling reckoned with, all technicians together; ``left`` what
    the round could not do.
    """

    at: str
    services: tuple[PlannedService, ...]
    units: int
    fittings: int
    estimate_min: float
    technicians: tuple[TechnicianMorning, ...] = ()
    cartridges: dict[str, int] = Field(default_factory=dict)
    left: tuple[LeftOut, ...] = ()

    @property
    def minutes(self) -> float:
        """Minutes of all technicians together."""
        return sum(t.minutes for t in self.technicians)


class LevellingReport(Record):
    """How level the mornings are, in minutes of all technicians together, as reckoned.

    ``lower_min``: no assignment inside the tolerances has a shorter longest morning, and none
    has fewer than ``fewest_visits``.
    ``due_day_longest_min``: the longest morning if each joint were greased on the day it falls
    due. ``late`` lists services for which no morning of their window had room.
    """

    longest_min: float
    lower_min: float
    gap_pct: float
    status: str
    visits: int
    fewest_visits: int
    due_day_longest_min: float
    due_day_visits: int
    shorter_pct: float
    moved: int
    late: tuple[str, ...] = ()
    no_room: tuple[str, ...] = ()


class Quantiles(Record):
    """Mean, P10, P50 and P90 over the simulated weeks."""

    mean: float
    p10: float
    p50: float
    p90: float


class GreaseWeek(Record):
    """One grease over the span. ``fan`` holds, for each morning, the cartridges used up to and
    with it. ``expected_g`` is the mean by renewal theory, where rates do not change."""

    grease: str
    grams: Quantiles
    cartridges: Quantiles
    fan: tuple[Quantiles, ...]
    expected_g: float | None
    cost_p50: float | None = None


class OrderLine(Record):
    """What to order of one grease. Demands are cartridges a calendar day of an ordinary week.

    ``stock`` is None where nobody said what is in the store; nothing is ordered then.
    ``order_by``: the first morning on which stock is expected at or below the reorder level;
    None where it stays above it. ``need`` brings stock up to ``up_to``.
    """

    grease: str
    stock: float | None
    lead_days: float
    service_level: float
    mean_a_day: float
    sd_a_day: float
    safety: float
    reorder_level: int
    rule: str
    up_to: int
    order_by: str | None
    need: int
    packs: tuple[Pack, ...] = ()
    ordered_kg: float = 0.0
    cost: float | None = None


class WhatIfResult(Record):
    """What changes: services, grams of each grease, and the longest morning, levelled anew."""

    what: tuple[str, ...]
    services_mean: float
    services_change: float
    grams: dict[str, Quantiles]
    cartridges: dict[str, Quantiles]
    longest_min: float


class WeekPlan(Record):
    """The week as written to ``week.json``."""

    format: str = WEEK_FORMAT
    site: str
    at: str
    seed: int
    shift_start: str
    weeks_simulated: int
    services_mean: float
    services_expected: float | None = None
    mornings: tuple[MorningPlan, ...]
    levelling: LevellingReport
    greases: tuple[GreaseWeek, ...]
    orders: tuple[OrderLine, ...]
    hours: tuple[DayHours, ...]
    what_if: WhatIfResult | None = None
    no_gun: tuple[LeftOut, ...] = ()
    notes: tuple[str, ...] = ()
    complete: bool = Field(default=True)
