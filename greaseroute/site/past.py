"""What a site's record tells beside services and readings: troubles, absences, doubtful meters."""

from datetime import datetime
from typing import Literal

from greaseroute.records import Record

TroubleKind = Literal["blocked", "skipped", "takes more", "defect"]


class Trouble(Record):
    """Something recorded of a joint, or (``fitting``) of one fitting, that is not over.

    ``since`` is when it was first told, ``times`` how often; ``text`` is the clause for people.
    """

    unit: str
    joint: str | None
    fitting: str | None = None
    kind: TroubleKind
    since: datetime
    times: int = 1
    text: str


class Absence(Record):
    """A unit that is not on the site; ``until`` is None where nobody said when it comes back."""

    unit: str
    since: datetime
    until: datetime | None = None
    words: str = ""


class MeterNote(Record):
    """A unit's meter that stood, ran back, jumped or was replaced; ``text`` is for people."""

    unit: str
    kind: Literal["stood", "ran back", "jumped", "replaced", "estimated"]
    text: str


class CheckSeen(Record):
    """When a daily check of a unit was last done, and the hours on the meter then."""

    unit: str
    check: str
    at: datetime
    meter_h: float


class Past(Record):
    """What the record adds to a site. ``events`` counts them; ``latest`` is the newest."""

    events: int = 0
    latest: datetime | None = None
    troubles: tuple[Trouble, ...] = ()
    absences: tuple[Absence, ...] = ()
    meters: tuple[MeterNote, ...] = ()
    checks: tuple[CheckSeen, ...] = ()
