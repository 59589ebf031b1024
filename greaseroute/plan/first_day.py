"""What ``first_day.json`` holds. Nothing here computes; anyone may read it."""

from pydantic import Field

from greaseroute.plan.learning import LearningCurve
from greaseroute.plan.round import CheckIn, LeftOut, PlaceCaution, RoundPlan
from greaseroute.records import Moment, MomentOrNone, Record

FIRST_DAY_FORMAT = "greaseroute first day 1"


class Lesson(Record):
    """One joint to learn on: the ``nth`` of its kind, standard and learner's time in seconds.

    ``difficulty`` is on the scale of the tool's own, 1 for a plain pin; ``second_person``: somebody
    instructed is needed at the controls.
    """

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
    difficulty: float = 1.0
    second_person: bool = False


class LearnerStop(Record):
    """One machine of the walk at the learner's pace, its lessons in the order they are done.

    Times are ISO 8601; work begins ``wait_s`` after arriving. ``difficulty`` is the mean of the
    lessons' and put the machine in its place. ``path`` is the leg walked to it. ``released``: when
    the machine leaves, where that is before the shift starts.
    """

    unit: str
    type: str
    family: str
    arrive: Moment
    leave: Moment
    wait_s: float = 0.0
    walk_m: float
    path: tuple[tuple[float, float], ...] = ()
    difficulty: float
    shown_s: float
    lessons: tuple[Lesson, ...]
    released: str = ""
    way_cautions: tuple[PlaceCaution, ...] = ()
    place_cautions: tuple[PlaceCaution, ...] = ()


class SkipStop(Record):
    """What to leave out when late: a machine, the minutes that gives back, the kinds it costs."""

    unit: str
    minutes: float
    kinds: tuple[str, ...]


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

    ``wanted`` can be reached this morning. ``most`` is proved: no walk in the window covers more.
    ``least_min``: no walk that was looked at covers as many and is back sooner; ``status`` is
    "optimal" where every walk was looked at.
    """

    covered: int
    wanted: int
    most: int
    minutes: float
    least_min: float
    status: str


class FirstDay(Record):
    """A first day as written to ``first_day.json``.

    ``stops``, cautions and ``check_ins`` are at the learner's pace, ``round`` is the same walk at
    the standard pace.
    ``window_min`` is the time there is: that asked for, cut at the start of the shift. The mentor
    walks along all the time (``mentor_min``) and shows for ``mentor_shows_min`` of it. ``repeat``
    are joints of kinds already met that the last machine offers, for time that is left.
    """

    format: str = FIRST_DAY_FORMAT
    site: str
    at: Moment
    seed: int
    learner: str
    mentor: str
    curve: LearningCurve
    show_min: float
    window_min: float
    start_place: str
    finish_place: str
    finish: Moment
    learner_min: float
    standard_min: float
    shift_start: MomentOrNone = ""
    mentor_min: float = 0.0
    mentor_shows_min: float = 0.0
    easy_first: bool = True
    guns: tuple[str, ...]
    carry: dict[str, int]
    stops: tuple[LearnerStop, ...]
    home_cautions: tuple[PlaceCaution, ...] = ()
    check_ins: tuple[CheckIn, ...] = ()
    repeat: tuple[Lesson, ...] = ()
    skip_when_late: tuple[SkipStop, ...] = ()
    later: tuple[LaterDay, ...] = ()
    not_met: tuple[NotMet, ...] = ()
    left: tuple[LeftOut, ...] = ()
    choice: Choice
    round: RoundPlan
    notes: tuple[str, ...] = ()
