"""What ``week.json`` holds. Nothing here computes; anyone may read it."""

from typing import Literal

from pydantic import Field

from greaseroute.plan.round import LeftOut
from greaseroute.records import Day, Moment, Record


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
    """One service on its morning, as the round does it.

    ``due`` is the date it falls due, ``days_moved`` the mornings it was brought forward (negative)
    or put back. ``used`` is the share of its interval used by then (None: never recorded).
    ``after`` is the date of the service before it in this week, empty for the first. Outside its
    tolerance only where one of these is true: ``backlog`` (over already when the week begins, or
    never recorded), ``late`` (no room on an earlier morning), ``over`` (no morning keeps it).
    """

    unit: str
    joint: str
    interval: str
    due: str
    days_moved: int
    fittings: int
    strokes: int
    grease: str
    used: float | None = None
    after: str = ""
    backlog: bool = False
    late: bool = False
    over: bool = False


class CannotKeep(Record):
    """A joint whose interval no morning keeps, with the share used by the next one (``used``)."""

    unit: str
    joint: str
    interval: str
    used: float
    helps: str


class TechnicianMorning(Record):
    """One technician's walk of one morning, in minutes, metres and strokes."""

    name: str
    walk_min: float
    wait_min: float
    work_min: float
    walk_m: float
    strokes: int
    start: Moment
    finish: Moment
    units: tuple[str, ...] = ()

    @property
    def minutes(self) -> float:
        """Walking, waiting and working together."""
        return self.walk_min + self.wait_min + self.work_min


class MorningPlan(Record):
    """One morning: the services given to it and the round planned for them.

    ``estimate_min`` is what the levelling reckoned with, all technicians together. ``left`` is what
    the round had no time for: it is asked of the next morning. ``guns`` are the strokes left in
    each gun at its start; ``strokes``, ``grams`` and ``cartridges`` (put in) are by grease.
    ``window_min``: minutes of all technicians up to the shift's start. ``tried`` are services that
    the round was planned with and that have to be mended first: a round of this morning asks for
    them once more, so that it is the same round.
    """

    at: Moment
    services: tuple[PlannedService, ...]
    tried: tuple[PlannedService, ...] = ()
    units: int
    fittings: int
    estimate_min: float
    technicians: tuple[TechnicianMorning, ...] = ()
    window_min: float = 0.0
    strokes: dict[str, int] = Field(default_factory=dict)
    grams: dict[str, float] = Field(default_factory=dict)
    cartridges: dict[str, int] = Field(default_factory=dict)
    guns: dict[str, int] = Field(default_factory=dict)
    left: tuple[LeftOut, ...] = ()

    @property
    def minutes(self) -> float:
        """Minutes of all technicians together."""
        return sum(t.minutes for t in self.technicians)


class LevellingReport(Record):
    """How level the mornings are, in minutes of all technicians together, as reckoned.

    Reckoned are pumping, procedures, isolation and a usual walk to each machine. ``lower_min``: by
    these minutes no choice of mornings inside the tolerances has a shorter longest morning, and
    none has fewer than ``fewest_visits``; 0 where nothing is proved. ``walked_longest_min`` is the
    longest morning as it is walked. ``overrun`` are mornings whose reckoned minutes are more than
    there are.
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
    walked_longest_min: float = 0.0
    late: tuple[str, ...] = ()
    overrun: tuple[str, ...] = ()


class Quantiles(Record):
    """Mean, P10, P50 and P90 over the simulated weeks."""

    mean: float
    p10: float
    p50: float
    p90: float


class GreaseWeek(Record):
    """One grease over the span: ``planned_g`` and ``planned_cartridges`` by the rounds, and the
    spread about them where hours make other joints due. ``fan`` holds, for each morning, the
    cartridges used up to and with it. ``expected_g`` is the mean by renewal theory if each joint
    is greased on the day it falls due, where rates do not change."""

    grease: str
    grams: Quantiles
    cartridges: Quantiles
    fan: tuple[Quantiles, ...]
    expected_g: float | None
    planned_g: float = 0.0
    planned_cartridges: int = 0
    cost_p50: float | None = None


class OrderLine(Record):
    """What to order of one grease. Demands are cartridges a calendar day in the long run.

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
    """What changes: services, grams of each grease, the longest morning, levelled anew.

    ``orders``: what is ordered then; ``overrun``: mornings whose reckoned minutes are more than
    there are.
    """

    what: tuple[str, ...]
    services_mean: float
    services_change: float
    grams: dict[str, Quantiles]
    cartridges: dict[str, Quantiles]
    longest_min: float
    orders: tuple[OrderLine, ...] = ()
    overrun: tuple[str, ...] = ()


class WeekPlan(Record):
    """The week as written to ``week.json``.

    ``mend_first``: joints that nobody can grease as things stand, told once and in no morning.
    ``cannot_keep``: joints whose interval no round in the morning keeps.
    """

    format: str = WEEK_FORMAT
    site: str
    at: Moment
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
    mend_first: tuple[LeftOut, ...] = ()
    cannot_keep: tuple[CannotKeep, ...] = ()
    early: float = 0.2
    late: float = 0.1
    catch_up: int = 2
    days_off: tuple[str, ...] = ()
    holidays: tuple[Day, ...] = ()
    notes: tuple[str, ...] = ()
    complete: bool = Field(default=True)
