"""What ``first_day.json`` holds. Nothing here computes; anyone may read it."""

from pydantic import Field

from greaseroute.plan.learning import LearningCurve
from greaseroute.plan.round import LeftOut, RoundPlan
from greaseroute.records import Record

FIRST_DAY_FORMAT = "greaseroute first day 1"


class Lesson(Record):
    """One joint to learn on: the ``nth`` of its kind, standard and learner's time in seconds."""

    unit: str
    joint: str
    family: str
    kind: str
    fittings: int
    strokes: int
    grease: str
    gun: str
    status: str
    reason: str
    nth: int = Field(ge=1)
    standard_s: float
    learner_s: float


class LearnerStop(Record):
    """One machine of the walk. Times are ISO 8601; ``difficulty`` put it in its place."""

    unit: str
    type: str
    family: str
    arrive: str
    leave: str
    walk_m: float
    difficulty: float
    shown_s: float
    lessons: tuple[Lesson, ...]


class LaterDay(Record):
    """What is left for a later day, with the minutes it is reckoned to take."""

    day: int
    minutes: float
    lessons: tuple[Lesson, ...]


class NotMet(Record):
    """A family and kind of joint on the site that these days do not meet, and why."""

    family: str
    kind: str
    reason: str


class Choice(Record):
    """How good the choice is: pairs of family and kind covered of those that could be.

    ``most`` and ``least_min`` are proved: nobody covers more in the window, nor as much in less.
    """

    covered: int
    wanted: int
    most: int
    minutes: float
    least_min: float
    status: str


class FirstDay(Record):
    """A first day as written to ``first_day.json``; ``round`` is its walk at standard pace."""

    format: str = FIRST_DAY_FORMAT
    site: str
    at: str
    seed: int
    learner: str
    mentor: str
    curve: LearningCurve
    show_min: float
    window_min: float
    start_place: str
    finish_place: str
    finish: str
    learner_min: float
    standard_min: float
    guns: tuple[str, ...]
    carry: dict[str, int]
    stops: tuple[LearnerStop, ...]
    later: tuple[LaterDay, ...] = ()
    not_met: tuple[NotMet, ...] = ()
    left: tuple[LeftOut, ...] = ()
    choice: Choice
    round: RoundPlan
    notes: tuple[str, ...] = ()
