"""The plan record: what ``round.json`` holds. Nothing here computes; anyone may read it."""

from typing import Literal

from pydantic import Field, SerializerFunctionWrapHandler, model_serializer

from greaseroute.dose.count import CartridgeCount
from greaseroute.records import Moment, MomentOrNone, Record

PLAN_FORMAT = "greaseroute round 1"


class FittingTask(Record):
    """One fitting to pump at a stand, in the order it is pumped.

    ``cartridge_change`` is true where a cartridge is put in before it, ``put_in`` how many
    (more than one only where a single dose outlasts a cartridge). ``at_m`` is (x, y, z) on the
    site. ``strokes_text`` is the range as the catalogue prints it, for people.
    """

    joint: str
    fitting: str
    strokes: int = Field(ge=1)
    grease: str
    gun: str
    dose_cm3: float = Field(gt=0)
    cartridge_change: bool = False
    put_in: int = Field(default=0, ge=0)
    at_m: tuple[float, float, float]
    head: str = "conical"
    band: str = "stand"
    work_s: float = Field(ge=0)
    why: str = ""


class LookTask(Record):
    """One look point to check at a stand."""

    name: str
    what: str
    at_m: tuple[float, float, float]
    work_s: float = Field(ge=0)


class StepTask(Record):
    """One step to tick: what is done, by whom (empty: the technician), seconds for it.

    ``isolates``: it is part of isolating the unit. A step without seconds of its own is done in
    those of the steps beside it.
    """

    do: str
    by: str = ""
    work_s: float = Field(default=0.0, ge=0)
    isolates: bool = False


class PersonCall(Record):
    """Somebody beside the technicians who has to be at a machine: who, when, where, what for.

    ``posture`` is the one to bring it into, or ``joint`` the one whose procedure takes a second
    person. ``x_m``, ``y_m`` is where the technician stands meanwhile. Times are ISO 8601.
    """

    person: str
    unit: str
    technician: str
    begin: Moment
    end: Moment
    posture: str = ""
    joint: str = ""
    x_m: float
    y_m: float


# The injury that hides comes first. More than five at the head are read once and then no more.
GENERAL_CAUTIONS = ("INJECT", "STOP", "PINCH", "NOPUMP", "TRAFFIC")


class PlaceCaution(Record):
    """A caution where it applies: its key on the card, and what it is about there, in words."""

    key: str = Field(description="key of the caution, such as WATER")
    where: str = Field(default="", description="what and where, or when, in words")


class CheckIn(Record):
    """A word of a technician that all is well: at the latest when, and with whom."""

    at: str
    tell: str = Field(default="", description="who is told; empty where nobody is known")
    stop: int | None = Field(
        default=None, description="number of the stop in the walk, from 0; none for its end"
    )


class StandVisit(Record):
    """A place for the feet; ``deck`` names the deck climbed to, ``height_m`` its height.

    ``before`` are steps done before the first fitting here, in order: a posture asked for, a
    climb, a slew while standing clear; ``before_s`` is their time, ``steps`` the same to be
    ticked; ``after`` are steps of procedures that follow the fittings here. ``posture`` is the
    posture the unit stands in while the technician is here. ``event``: ``posture`` where one
    stands clear while the unit is brought into it, ``turn`` while it is slewed for that of
    ``event_joint``, else empty. ``again`` are the (joint, fitting) of a second pass made here.
    """

    x_m: float
    y_m: float
    height_m: float = 0.0
    deck: str | None = None
    posture: str
    before: tuple[str, ...] = ()
    before_s: float = 0.0
    steps: tuple[StepTask, ...] = ()
    after: tuple[StepTask, ...] = ()
    event: Literal["", "posture", "turn"] = ""
    event_joint: str = ""
    again: tuple[tuple[str, str], ...] = ()
    fittings: tuple[FittingTask, ...] = ()
    looks: tuple[LookTask, ...] = ()


class Stop(Record):
    """One visit to a unit, or (``unit`` a store's name, ``reload`` true) to a store.

    Times are ISO 8601 with offset. ``path`` is the leg walked to it, from the stop before;
    ``inside`` the walking line from its first stand to its last. ``isolation`` is done before the
    first stand; ``isolation_s`` is 0 where the unit is moved first of all and isolated after that.
    ``people`` are those who have to come. ``cautions`` are keys of the machine's cautions,
    ``way_cautions`` those of the leg, ``place_cautions`` those of where one stands. ``fixed_s``
    is the part of the time at the unit that no route changes: isolation, coupling and strokes,
    the least height band of each fitting, second passes, procedures, looks, cartridge changes.
    """

    unit: str
    type: str = ""
    arrive: Moment
    leave: Moment
    wait_s: float = 0.0
    reload: bool = False
    isolation: tuple[str, ...] = ()
    isolation_s: float = 0.0
    isolation_steps: tuple[StepTask, ...] = ()
    people: tuple[PersonCall, ...] = ()
    fixed_s: float = Field(default=0.0, ge=0)
    cautions: tuple[str, ...] = ()
    way_cautions: tuple[PlaceCaution, ...] = ()
    place_cautions: tuple[PlaceCaution, ...] = ()
    path: tuple[tuple[float, float], ...] = ()
    inside: tuple[tuple[float, float], ...] = ()
    stands: tuple[StandVisit, ...] = ()
    load: dict[str, int] = Field(default_factory=dict)


class TechnicianPlan(Record):
    """The walk of one technician. ``path`` is the whole walking line, start to finish.

    ``home_cautions`` are those of the last leg, ``check_ins`` the words that all is well.
    """

    name: str
    walk_m: float
    walk_s: float
    work_s: float
    wait_s: float = 0.0
    start: Moment
    finish: Moment
    start_place: str = ""
    finish_place: str = ""
    path: tuple[tuple[float, float], ...]
    stops: tuple[Stop, ...]
    home_cautions: tuple[PlaceCaution, ...] = ()
    check_ins: tuple[CheckIn, ...] = ()
    cartridges: dict[str, CartridgeCount] = Field(default_factory=dict)


class LeftOut(Record):
    """A joint (or one fitting of it) that this plan does not serve, why, and what would help."""

    unit: str
    joint: str
    fitting: str | None = None
    reason: str
    helps: str = ""
    overdue_h: float | None = None
    critical: int = 2


class Bound(Record):
    """The certificate: no plan for the same visits has its last finish before ``no_sooner_s``.

    ``last_finish_s`` is this plan's, both in seconds from ``at`` of the plan. ``value_s`` is what
    the route decides of it, by its own clock: of all technicians who visit a unit (of all
    where nobody does) finish less start, less idle time (``wait_s``, together
    ``idle_s``), less ``fixed_s`` of their stops. ``lower_s`` is ``value_s`` less what could at most
    be saved: ``last_finish_s`` less ``no_sooner_s`` by each of them, not below 0. ``gap_pct`` is
    100 x (``value_s`` - ``lower_s``) / ``value_s``. ``what`` names the relaxation. Where nothing is
    proved, ``lower_s`` is 0, ``gap_pct`` and ``no_sooner_s`` are None.
    """

    lower_s: float
    value_s: float
    gap_pct: float | None
    what: str
    idle_s: float = 0.0
    last_finish_s: float = 0.0
    no_sooner_s: float | None = None


class LookedAt(Record):
    """A centrally lubricated joint that is inspected and not pumped."""

    unit: str
    joint: str
    text: str


class Leaving(Record):
    """A machine that goes while the round may be under way, and the ground it then needs.

    ``leaves`` is the moment it goes, ISO 8601. ``ground`` is the outline (x, y in m) of its place
    and its way out: nobody walks or stands there from then on.
    """

    unit: str
    leaves: Moment
    ground: tuple[tuple[float, float], ...]


class RoundPlan(Record):
    """One round for one site, as written to ``round.json``.

    ``rest_of_round_from``: where this plans the rest of a round under way, when that began.
    ``of_week``: where the joints are those of a week's morning, when that week begins.
    """

    format: str = PLAN_FORMAT
    site: str
    at: Moment
    seed: int
    shift_start: Moment
    rest_of_round_from: MomentOrNone = ""
    of_week: MomentOrNone = ""
    complete: bool = True
    due_joints: int = 0
    due_fittings: int = 0
    technicians: tuple[TechnicianPlan, ...]
    people: tuple[PersonCall, ...] = ()
    leaving: tuple[Leaving, ...] = ()
    emergency_number: str = ""
    cartridges: dict[str, CartridgeCount]
    left: tuple[LeftOut, ...] = ()
    never_pump: tuple[LookedAt, ...] = ()
    inspect: tuple[LookedAt, ...] = ()
    bound: Bound
    cautions: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()

    @model_serializer(mode="wrap")
    def _written(self, write: SerializerFunctionWrapHandler):  # type: ignore[no-untyped-def]  # noqa: ANN202
        """Without ``leaving`` where no machine leaves. A return type would become the schema."""
        fields = write(self)
        if not self.leaving:
            fields.pop("leaving", None)
        return fields
