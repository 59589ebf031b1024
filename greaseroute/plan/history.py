"""What a look back at the record holds. Nothing here computes; anyone may read it."""

from datetime import datetime

from greaseroute.records import Record


class GreaseUse(Record):
    """Grease given to a unit: grams in the last span of days and in the span before it.

    ``unmeasured`` services told no strokes, or a gun that the site does not have: no grams.
    """

    unit: str
    grease: str
    grams: float
    grams_before: float
    cost: float | None = None
    services: int = 0
    unmeasured: int = 0

    @property
    def trend_pct(self) -> float | None:
        """Change against the span before, in per cent; None where nothing was given then."""
        if self.grams_before <= 0:
            return None
        return 100 * (self.grams / self.grams_before - 1)


class PaceFound(Record):
    """Actual over planned time of one technician at one kind of joint.

    ``share`` is the middle one of ``count`` samples, ``low`` and ``high`` the quartiles; minutes
    are sums. ``now`` is the share that plans go by today. ``offered`` where there are enough.
    """

    technician: str
    joint_kind: str
    count: int
    share: float
    low: float
    high: float
    actual_min: float
    planned_min: float
    now: float = 1.0
    offered: bool = False


class MeterMark(Record):
    """A meter reading in the plot; ``new`` where another meter begins."""

    at: datetime
    meter_h: float
    new: bool = False


class Mark(Record):
    """One thing that happened, in the plot: in which row, and what kind."""

    at: datetime
    row: str
    kind: str


class JointNow(Record):
    """How some joints of one class stand: what `due` says of each of them."""

    joints: tuple[str, ...]
    interval: str
    due: bool
    sentence: str


class Line(Record):
    """One line of the list of what happened."""

    at: datetime
    what: str
    who: str = ""


class UnitPast(Record):
    """A unit on one page."""

    site: str
    unit: str
    title: str
    at: datetime
    since: datetime
    days: int
    meter_h: float
    worked_h: float | None
    meters: tuple[MeterMark, ...]
    away: tuple[tuple[datetime, datetime], ...]
    rows: tuple[str, ...]
    marks: tuple[Mark, ...]
    joints: tuple[JointNow, ...]
    use: tuple[GreaseUse, ...]
    notes: tuple[str, ...]
    lines: tuple[Line, ...]
    earlier_lines: int = 0

    @property
    def due_joints(self) -> int:
        """How many joints are due."""
        return sum(len(each.joints) for each in self.joints if each.due)
