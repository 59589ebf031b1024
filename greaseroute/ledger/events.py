"""What can have happened: one record for each kind of event."""

from typing import Annotated, Literal, get_args

from pydantic import AwareDatetime, Field, TypeAdapter, model_validator

from greaseroute.ledger.planned import Name, PlannedWalk
from greaseroute.records import Record

LONGEST_WORDS = 400

Words = Annotated[str, Field(max_length=LONGEST_WORDS)]
EventId = Annotated[str, Field(pattern=r"^[0-9A-Za-z._-]{1,64}$")]

Reason = Literal[
    "does not take grease",
    "fitting missing or broken",
    "could not reach it",
    "machine was in use",
    "buried or dirty",
    "no time",
    "other",
]
"""Why a fitting could not be greased, in the words offered on the card."""

Defect = Literal["leak", "play", "fitting missing", "fitting broken", "other"]
"""What is wrong with a joint or fitting, in the words offered on the card."""

Uptake = Literal["took too much", "refused grease"]


class Happened(Record):
    """What every event says.

    ``id`` names it for ever: the same id is booked once. ``at`` is when it happened, by whoever
    was there, with an offset. ``plan`` and ``device`` tell from which card, on which phone;
    ``told_at`` when that card was exported. ``corrects`` is the id of an earlier event that no
    longer counts. ``source`` says where it was read: a card, a receipt, a line of a file.
    """

    id: EventId
    at: AwareDatetime
    technician: Name | None = None
    plan: EventId | None = None
    device: EventId | None = None
    told_at: AwareDatetime | None = None
    corrects: EventId | None = None
    words: Words = ""
    source: Words = ""


class AtUnit(Happened):
    """An event at one machine."""

    unit: Name


class AtJoint(AtUnit):
    """An event at a joint, or (``fitting``) at one fitting of it."""

    joint: Name
    fitting: Name | None = None


class Greased(AtJoint):
    """A fitting, a joint, or every joint of an interval class (``joint`` such as ``50 h``).

    ``strokes`` were given, ``planned_strokes`` asked for; ``meter_h`` where it was read then.
    """

    kind: Literal["greased"] = "greased"
    strokes: int | None = Field(default=None, ge=0, le=10_000)
    planned_strokes: int | None = Field(default=None, ge=0, le=10_000)
    grease: Name | None = None
    gun: Name | None = None
    meter_h: float | None = Field(default=None, ge=0)


class CouldNot(AtUnit):
    """A fitting or joint that was to be greased, or a daily check to be done, and was not."""

    kind: Literal["could_not"] = "could_not"
    joint: Name | None = None
    fitting: Name | None = None
    check: Name | None = None
    reason: Reason

    @model_validator(mode="after")
    def _of_something(self) -> "CouldNot":
        if (self.joint is None) == (self.check is None):
            raise ValueError("a joint, or a check")
        return self


class DefectSeen(AtUnit):
    """Something found broken, loose or leaking; ``words`` say more."""

    kind: Literal["defect"] = "defect"
    joint: Name | None = None
    fitting: Name | None = None
    defect: Defect


class UptakeSeen(AtJoint):
    """A fitting that took far more than its dose, or refused it."""

    kind: Literal["uptake"] = "uptake"
    uptake: Uptake


class Repaired(AtUnit):
    """A machine, a joint or a fitting of it was mended: defects and blockages are over."""

    kind: Literal["repaired"] = "repaired"
    joint: Name | None = None
    fitting: Name | None = None


class CheckDone(AtUnit):
    """A daily check, and whether what was seen is good; ``words`` say what is not."""

    kind: Literal["check"] = "check"
    check: Name
    good: bool = True


class MeterRead(AtUnit):
    """What an hour meter showed; ``sure`` where an unlikely figure was asked about and stands."""

    kind: Literal["meter_read"] = "meter_read"
    meter_h: float = Field(ge=0, le=1_000_000)
    sure: bool = False


class MeterReplaced(AtUnit):
    """Another hour meter: what the old one showed last and the new one first."""

    kind: Literal["meter_replaced"] = "meter_replaced"
    old_h: float | None = Field(default=None, ge=0, le=1_000_000)
    new_h: float = Field(default=0.0, ge=0, le=1_000_000)


class Moved(AtUnit):
    """Where a machine stands now, in the coordinates of the site's own files.

    What is left out stays as it was: a machine may only have turned or moved its implements.
    """

    kind: Literal["moved"] = "moved"
    x_m: float | None = None
    y_m: float | None = None
    lon: float | None = Field(default=None, ge=-180, le=180)
    lat: float | None = Field(default=None, ge=-90, le=90)
    heading_deg: float | None = Field(default=None, ge=0, lt=360)
    posture: Name | None = None
    slew_deg: float | None = Field(default=None, ge=-360, le=360)

    @model_validator(mode="after")
    def _in_pairs(self) -> "Moved":
        if (self.x_m is None) != (self.y_m is None) or (self.lon is None) != (self.lat is None):
            raise ValueError("both coordinates of a place, or neither")
        told = (self.x_m, self.lon, self.heading_deg, self.posture, self.slew_deg)
        if all(value is None for value in told):
            raise ValueError("a place, a heading, a posture or a slew angle")
        return self


class Arrived(AtUnit):
    """A machine that came (back) to the site."""

    kind: Literal["arrived"] = "arrived"


class Left(AtUnit):
    """A machine that left the site for as long as nobody says that it arrived."""

    kind: Literal["left"] = "left"


class Away(AtUnit):
    """A machine that is away from ``at`` to ``until``: hired out, in the workshop, laid up."""

    kind: Literal["away"] = "away"
    until: AwareDatetime

    @model_validator(mode="after")
    def _forwards(self) -> "Away":
        if self.until <= self.at:
            raise ValueError("an end after its beginning")
        return self


class Correction(Happened):
    """An earlier event that did not happen; ``words`` say why."""

    kind: Literal["correction"] = "correction"
    corrects: EventId


class CartridgeFitted(Happened):
    """Cartridges put into a gun."""

    kind: Literal["cartridge_fitted"] = "cartridge_fitted"
    grease: Name
    gun: Name | None = None
    unit: Name | None = None
    joint: Name | None = None
    fitting: Name | None = None
    cartridges: int = Field(default=1, ge=1, le=1000)


class StockCounted(Happened):
    """Cartridges counted in the store: from here on that many are there."""

    kind: Literal["stock_counted"] = "stock_counted"
    grease: Name
    cartridges: float = Field(ge=0, le=1_000_000)


class StockReceived(Happened):
    """Cartridges that came in."""

    kind: Literal["stock_received"] = "stock_received"
    grease: Name
    cartridges: float = Field(gt=0, le=1_000_000)


class StockTaken(Happened):
    """Cartridges that went out of the store for something other than a round."""

    kind: Literal["stock_taken"] = "stock_taken"
    grease: Name
    cartridges: float = Field(gt=0, le=1_000_000)


class PaceTaken(Happened):
    """A calibrated pace that was agreed to: actual over planned time of one kind of joint.

    ``share`` multiplies the time planned for it; ``count`` and ``low``, ``high`` (quartiles) are
    what it rested on.
    """

    kind: Literal["pace_taken"] = "pace_taken"
    technician: Name
    joint_kind: Name
    share: float = Field(gt=0.1, lt=10)
    count: int = Field(ge=1)
    low: float = Field(gt=0)
    high: float = Field(gt=0)


class PlanHandedOut(Happened):
    """A plan that went out as cards; ``at`` is the moment it was made for."""

    kind: Literal["plan_handed_out"] = "plan_handed_out"
    plan: EventId
    site: Name
    walks: tuple[PlannedWalk, ...]


Event = Annotated[
    Greased
    | CouldNot
    | DefectSeen
    | UptakeSeen
    | Repaired
    | CheckDone
    | MeterRead
    | MeterReplaced
    | Moved
    | Arrived
    | Left
    | Away
    | Correction
    | CartridgeFitted
    | StockCounted
    | StockReceived
    | StockTaken
    | PaceTaken
    | PlanHandedOut,
    Field(discriminator="kind"),
]
ANY_EVENT: TypeAdapter[Event] = TypeAdapter(Event)

KINDS: dict[str, type[Happened]] = {
    str(model.model_fields["kind"].default): model for model in get_args(get_args(Event)[0])
}
"""Every kind of event by its name."""
