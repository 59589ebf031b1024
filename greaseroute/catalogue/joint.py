"""Pin joints, their fittings, what they want and how often."""

from typing import Annotated, Literal, Self

from pydantic import BeforeValidator, Field, model_validator

from greaseroute.catalogue.procedure import Procedure
from greaseroute.records import Record, about, number

# A place on a machine, metres: no machine reaches a hundred.
Metres = Annotated[float, Field(ge=-100.0, le=100.0)]
Point3 = tuple[Metres, Metres, Metres]
Cm3 = Annotated[float, Field(ge=0.0, le=20_000.0)]
StrokeCount = Annotated[int, Field(ge=0, le=2000)]
Head = Literal["conical", "flush", "remote"]
JointKind = Literal[
    "pin",
    "pivot",
    "ball joint",
    "slew ring",
    "pinion grease bath",
    "open gear",
    "universal joint",
    "sliding spline",
    "kingpin",
    "steering rod",
    "steering",
    "suspension",
    "bearing",
    "slide",
    "tool bushing",
    "coupling plate",
    "chain",
    "reservoir",
    "track tension",
]
OlderKind = Literal["slew bath", "slip joint"]
OLDER_KINDS = {"slew bath": "pinion grease bath", "slip joint": "sliding spline"}
"""Kinds as type files spelled them before; they are still read."""


def _kind_of_today(kind: object) -> object:
    return OLDER_KINDS.get(kind, kind) if isinstance(kind, str) else kind


Access = Literal["platform", "pit", "workshop"]
"""What a fitting takes that nobody reaches from the ground or a deck of the machine."""

Service = Literal["normal", "new", "dust", "wet", "shock"]
"""The work that a start value stands for."""


class Fitting(Record):
    """One grease fitting: the thing the coupler goes on.

    ``position_m`` is in the frame of ``link``; ``bank`` names the grease block it sits in, if
    any; ``feeds_m`` is then the place on the joint where its line ends, in the frame of the link
    ``feeds`` (of ``link`` itself where that is not given). ``faces`` is an optional outward
    direction (link frame) of the fitting's head. ``takes``: nobody reaches it from the ground or
    a deck in any posture; it takes a platform, a pit or the workshop, and no round plans it.
    """

    name: str = Field(min_length=1)
    link: str
    position_m: Point3
    head: Head = "conical"
    bank: str | None = None
    faces: Point3 | None = None
    feeds: str | None = None
    feeds_m: Point3 | None = None
    takes: Access | None = None


class Dose(Record):
    """Grease for each fitting of a joint, given in exactly one of three ways.

    - ``cm3``: (least, most) in cm3 for each fitting;
    - ``strokes`` (least, most) of a reference gun of ``stroke_cm3``, as makers print them;
    - ``pin_diameter_mm`` and ``pin_length_mm``: the handbook quantity, see ``dose``.

    ``until_fresh``: pumped until fresh grease shows, at most the upper number of strokes; the
    lower one is what the plan counts on.
    """

    cm3: tuple[Cm3, Cm3] | None = about("least and most for each fitting, cm3, up to 20,000", None)
    strokes: tuple[StrokeCount, StrokeCount] | None = about(
        "least and most strokes of the gun of stroke_cm3, for each fitting", None
    )
    stroke_cm3: float | None = number(
        "grease of one stroke of the gun that strokes are counted by", default=None, least=0.05,
        greatest=50.0, unit="cm3", usual=(0.4, 3.0),
    )  # fmt: skip
    pin_diameter_mm: float | None = number(
        "diameter of the pin", default=None, least=2.0, greatest=2000.0, unit="mm"
    )
    pin_length_mm: float | None = number(
        "greased length of the pin", default=None, least=2.0, greatest=5000.0, unit="mm"
    )
    until_fresh: bool = False

    @model_validator(mode="after")
    def _one_way(self) -> Self:
        ways = [
            self.cm3 is not None,
            self.strokes is not None and self.stroke_cm3 is not None,
            self.pin_diameter_mm is not None and self.pin_length_mm is not None,
        ]
        given = [v for v in self.model_dump(exclude={"until_fresh"}).values() if v is not None]
        if sum(ways) != 1 or len(given) != (1 if ways[0] else 2):
            msg = "give cm3, or strokes with stroke_cm3, or pin_diameter_mm with pin_length_mm"
            raise ValueError(msg)
        low, high = self.cm3 or self.strokes or (1, 1)
        if not 0 < low <= high:
            raise ValueError("the least dose must be above zero and not above the most")
        if self.until_fresh and self.strokes is None:
            raise ValueError("until_fresh goes with strokes, whose upper number is the most")
        return self


class Interval(Record):
    """How often: hours on the meter, days, or every shift; whichever of those given comes first."""

    hours: float | None = number(
        "hours on the meter", default=None, least=0.5, greatest=50_000.0, unit="h",
        usual=(2.0, 6000.0),
    )  # fmt: skip
    days: float | None = number(
        "days", default=None, least=0.5, greatest=3700.0, unit="d", usual=(1.0, 800.0)
    )
    every_shift: bool = about("before every shift", False)

    @model_validator(mode="after")
    def _something(self) -> Self:
        if self.hours is None and self.days is None and not self.every_shift:
            raise ValueError("give hours, days or every_shift")
        return self

    @property
    def label(self) -> str:
        """Short words, such as ``50 h``, ``250 h or 30 days`` or ``every shift``."""
        parts = []
        if self.every_shift:
            parts.append("every shift")
        if self.hours is not None:
            parts.append(f"{self.hours:g} h")
        if self.days is not None:
            parts.append(f"{self.days:g} days")
        return " or ".join(parts)


class GreaseWant(Record):
    """What a joint wants: any field left out does not matter to it.

    ``code`` is a designation such as one after DIN 51825; ``moly`` is True where molybdenum
    disulphide is wanted, False where it must not be. ``prefers_moly`` decides between greases
    that both fit: True takes one with moly first, False one without. ``purpose`` names a grease
    made for one thing (``chisel paste``, ``crusher maker's own``): no other grease will do, and
    such a grease goes nowhere else.
    """

    nlgi: tuple[str, ...] = ()
    thickener: str | None = None
    moly: bool | None = None
    prefers_moly: bool | None = None
    code: str | None = None
    purpose: str | None = Field(default=None, min_length=1)


class Joint(Record):
    """Two links and the pin between them, with one or more fittings.

    ``postures``: names of the postures in which it may be greased; empty means any posture that
    brings it into reach. ``central``: fed by a central system, looked at and never pumped.
    ``never_pump``: a track-tension fitting or its like. ``critical``: 1 (can wait) to 3 (seizes
    soon). ``skill``: what whoever greases it must be instructed in or licensed for, if anything.
    ``interval_class`` groups joints serviced together, such as ``50 h``. ``done_by``: an
    ``operator`` greases it during the shift and the round only checks that it was done.
    ``formerly``: names under which services of it may be recorded from before.

    Interval and dose of a shelf type are start values: ``stands_for`` says for which work
    (the type's ``start_values`` where not given), ``confirmed`` by whom, when and from what they
    were confirmed for this site, empty where nobody did.
    """

    name: str = Field(min_length=1)
    kind: Annotated[
        JointKind, BeforeValidator(_kind_of_today, json_schema_input_type=JointKind | OlderKind)
    ] = "pin"
    links: tuple[str, str]
    fittings: tuple[Fitting, ...] = Field(min_length=1, max_length=60)
    dose: Dose | None = None
    interval: Interval | None = None
    grease: GreaseWant = GreaseWant()
    postures: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()
    procedure: Procedure | None = None
    central: bool = False
    never_pump: bool = False
    critical: int = Field(default=2, ge=1, le=3)
    skill: str | None = Field(default=None, min_length=1)
    done_by: Literal["technician", "operator"] = "technician"
    formerly: tuple[str, ...] = ()
    stands_for: Service | None = None
    confirmed: str = ""
    origin: str = "common practice, no source"

    @model_validator(mode="after")
    def _pumped_needs_dose(self) -> Self:
        if not self.never_pump and (self.dose is None or self.interval is None):
            raise ValueError(f"joint {self.name!r} needs a dose and an interval")
        names = [f.name for f in self.fittings]
        if len(set(names)) != len(names):
            raise ValueError(f"joint {self.name!r} names a fitting twice")
        return self

    @property
    def by_hand(self) -> bool:
        """Whether a technician pumps it: not a system, not an operator, not nobody at all."""
        return not (self.never_pump or self.central or self.done_by == "operator")

    @property
    def within_reach(self) -> tuple[Fitting, ...]:
        """The fittings that take no platform, pit or workshop."""
        return tuple(fitting for fitting in self.fittings if fitting.takes is None)

    @property
    def interval_class(self) -> str:
        """The interval in short words; joints of one class are serviced together."""
        return self.interval.label if self.interval else "never"


class Reading(Record):
    """A figure written down at a check: its unit and, where there are limits, least and most."""

    unit: str = Field(min_length=1)
    least: float | None = None
    most: float | None = None

    @model_validator(mode="after")
    def _in_order(self) -> Self:
        if self.least is not None and self.most is not None and self.least > self.most:
            raise ValueError("least must not be above most")
        return self


class LookPoint(Record):
    """A check on the same walk that costs no grease; ``posture`` where it needs one.

    ``interval`` says how often, as for a joint; a type file must give it. ``reading``: the figure
    to be written down, such as a track's sag in mm.
    """

    name: str = Field(min_length=1)
    link: str
    position_m: Point3
    what: str
    posture: str | None = None
    interval: Interval = Interval(every_shift=True)
    reading: Reading | None = None
    formerly: tuple[str, ...] = ()
