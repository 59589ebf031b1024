"""What there is to do at each unit: joints due, gun and strokes of each fitting, its weight."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime

from greaseroute.catalogue.joint import Fitting, Joint
from greaseroute.catalogue.machine_type import MachineType
from greaseroute.dose.matching import NoGun, gun_for
from greaseroute.dose.quantity import dose_cm3
from greaseroute.dose.strokes import fitting_strokes
from greaseroute.errors import UnknownName
from greaseroute.intervals.worklist import DueItem, work_list
from greaseroute.plan.round import LeftOut
from greaseroute.site.crew import Gun, Technician
from greaseroute.site.fleet import Unit
from greaseroute.site.model import Site
from greaseroute.site.reach import Reach

WorkItem = DueItem | tuple[str, str]
NOT_FROM_GROUND = "nobody reaches it from the ground or a deck"
# Weight of a joint just due and of middling importance; a whole number for the solver.
WEIGHT_UNIT = 100
# Beyond this many intervals a joint no longer gains weight: the record is doubted, not the pin.
MOST_RATIO = 20.0


@dataclass(frozen=True, slots=True)
class Outfit:
    """A technician's reach, guns, pace, skills; those who share one share stands and tours."""

    reach: Reach
    guns: tuple[str, ...]
    speed_m_s: float
    skills: frozenset[str] = frozenset()
    pace: frozenset[tuple[str, float]] = frozenset()

    def share_of(self, joint_kind: str) -> float:
        """Time taken over time planned at a kind of joint."""
        return next((share for kind, share in self.pace if kind == joint_kind), 1.0)


@dataclass(frozen=True, slots=True)
class FittingWork:
    """One fitting to pump: with which gun, how many strokes, how long (coupling and strokes)."""

    joint: str
    fitting: str
    head: str
    gun: str
    grease: str
    strokes: int
    dose_cm3: float
    pump_s: float
    stroke_s: float
    hose_m: float
    why: str

    @property
    def key(self) -> tuple[str, str]:
        """What names it at its unit."""
        return self.joint, self.fitting


@dataclass(frozen=True, slots=True)
class JointWork:
    """One joint to grease; ``weight`` is what is lost if it is left out.

    ``longer`` are the same fittings by other guns that suit and have a longer hose.
    """

    joint: Joint
    due: DueItem
    fittings: tuple[FittingWork, ...]
    weight: int
    longer: tuple[FittingWork, ...] = ()

    @property
    def needs_second(self) -> bool:
        """Whether its procedure needs somebody at the controls."""
        return self.joint.procedure is not None and self.joint.procedure.second_person


@dataclass(frozen=True, slots=True)
class CannotDo:
    """A joint that an outfit has no gun or skill for, and who could do it.

    ``fitting``: the one fitting of it that is meant, where the others can be done.
    """

    item: DueItem
    reason: str
    helps: str
    fitting: str | None = None


@dataclass(frozen=True, slots=True)
class UnitWork:
    """All that is to be done at one unit by a technician of one outfit.

    ``cannot`` are joints due here that this outfit has no gun or skill for; ``takes_more`` what
    nobody reaches without a platform, a pit or the workshop.
    """

    unit: Unit
    machine_type: MachineType
    joints: tuple[JointWork, ...]
    cannot: tuple[CannotDo, ...] = ()
    looks: tuple[str, ...] = ()
    takes_more: tuple[CannotDo, ...] = ()

    @property
    def weight(self) -> int:
        """Weight of everything due here, what cannot be done included."""
        return sum(j.weight for j in self.joints) + sum(weight_of(c.item) for c in self.cannot)

    def levels(self) -> list[tuple[JointWork, ...]]:
        """All joints, then the weightiest three quarters, half, quarter and one of them.

        Last, where some need a second person, those that one can do alone.
        """
        order = sorted(self.joints, key=lambda j: (-j.weight, j.joint.name))
        count = len(order)
        sizes = dict.fromkeys((count, -(-3 * count // 4), -(-count // 2), -(-count // 4), 1))
        alone = tuple(j for j in order if not j.needs_second)
        fewer = [alone] if 0 < len(alone) < count else []
        return [*(tuple(order[:size]) for size in sizes if size), *fewer]


def outfit_of(technician: Technician, site: Site) -> Outfit:
    """The outfit of a technician; the site's walking speed where there is no own one."""
    speed = technician.speed_m_s or site.rules.walking_speed_m_s
    skills, pace = frozenset(technician.skills), frozenset(technician.pace.items())
    return Outfit(technician.reach, technician.guns, speed, skills, pace)


def weight_of(item: DueItem) -> int:
    """How much a joint matters: critical (1 to 3) times the used share of its interval."""
    ratio = min(item.overdue_ratio, MOST_RATIO)
    return max(1, round(WEIGHT_UNIT * item.critical * ratio))


def due_items(
    site: Site, at: datetime, *, work: Sequence[WorkItem] | None = None
) -> tuple[DueItem, ...]:
    """What is to be done: what is due at ``at``, or ``work`` where the caller says what.

    Raises
    ------
    UnknownName
        ``work`` naming a unit and joint that the site does not have.
    """
    if work is None:
        return tuple(item for item in work_list(site, at) if item.due)
    given = [item for item in work if isinstance(item, DueItem)]
    if len(given) == len(work):
        return tuple(given)
    known = {(item.unit, item.joint): item for item in work_list(site, at)}
    return tuple(
        item if isinstance(item, DueItem) else _asked_for(item, known.get(item)) for item in work
    )


def _asked_for(key: tuple[str, str], item: DueItem | None) -> DueItem:
    if item is None:
        raise UnknownName(
            "work", f"{key[0]} {key[1]}", limit="a joint of a unit of this site",
            next_step="see `greaseroute due`",
        )  # fmt: skip
    return item if item.due else item.model_copy(update={"due": True})


def unit_works(
    site: Site,
    items: Sequence[DueItem],
    *,
    outfit: Outfit,
    looks: Mapping[str, tuple[str, ...]] | None = None,
    without: frozenset[tuple[str, str, str]] = frozenset(),
) -> tuple[UnitWork, ...]:
    """The work at each unit for one outfit, in fleet order; units with nothing to do are left out.

    Joints that are never pumped or centrally fed are no work, whatever the caller says; nor are
    the single fittings (unit, joint, fitting) in ``without``. ``looks`` are the daily checks to be
    done, by unit.
    """
    by_unit: dict[str, list[DueItem]] = {}
    for item in items:
        by_unit.setdefault(item.unit, []).append(item)
    return tuple(
        _less(
            _unit_work(
                site,
                unit,
                items=by_unit[unit.unit],
                outfit=outfit,
                looks=(looks or {}).get(unit.unit, ()),
            ),
            without,
        )
        for unit in site.units
        if unit.unit in by_unit
    )


def _less(work: UnitWork, without: frozenset[tuple[str, str, str]]) -> UnitWork:
    """The work without some fittings, and without joints that have no fitting left."""
    joints = [
        replace(j, fittings=tuple(f for f in j.fittings if (work.unit.unit, *f.key) not in without))
        for j in work.joints
    ]
    return replace(work, joints=tuple(j for j in joints if j.fittings))


def _unit_work(
    site: Site, unit: Unit, *, items: Sequence[DueItem], outfit: Outfit, looks: tuple[str, ...]
) -> UnitWork:
    machine_type = site.machine(unit)
    joints: list[JointWork] = []
    cannot: list[CannotDo] = []
    takes_more: list[CannotDo] = []
    for item in items:
        joint = machine_type.joint(item.joint)
        if not joint.by_hand:
            continue
        takes_more += _takes_more(item, joint)
        if not _at_hand(joint, item):
            continue
        gun = _gun(site, joint, outfit=outfit)
        lacking = _skill_lacking(unit, joint, outfit)
        if isinstance(gun, NoGun):
            cannot.append(CannotDo(item, gun.reason, "a gun that fits"))
        elif lacking:
            reason = f"asks for the skill {lacking!r}"
            cannot.append(CannotDo(item, reason, f"somebody with the skill {lacking!r}"))
        else:
            joints.append(_joint_work(site, joint, item=item, gun=gun, outfit=outfit))
    return UnitWork(
        unit, machine_type, tuple(joints), tuple(cannot), looks, takes_more=tuple(takes_more)
    )


def _due(joint: Joint, item: DueItem) -> list[Fitting]:
    """The fittings of a joint that are due: all where nothing else is said."""
    return [f for f in joint.fittings if not item.due_fittings or f.name in item.due_fittings]


def _at_hand(joint: Joint, item: DueItem) -> list[Fitting]:
    """Those of them that are reached from the ground or a deck."""
    return [f for f in _due(joint, item) if f.takes is None]


def _takes_more(item: DueItem, joint: Joint) -> Iterator[CannotDo]:
    """What nobody reaches from the ground or a deck: the whole joint, or single fittings."""
    far = [f for f in _due(joint, item) if f.takes is not None]
    whole = len(far) == len(joint.fittings) and len({f.takes for f in far}) == 1
    for fitting in far[:1] if whole else far:
        name = None if whole else fitting.name
        yield CannotDo(item, NOT_FROM_GROUND, f"a {fitting.takes}", fitting=name)


def _skill_lacking(unit: Unit, joint: Joint, outfit: Outfit) -> str | None:
    """A skill that the unit or the joint asks for and the outfit lacks."""
    asked = (skill for skill in (unit.skill, joint.skill) if skill is not None)
    return next((skill for skill in asked if skill not in outfit.skills), None)


def _gun(site: Site, joint: Joint, *, outfit: Outfit) -> Gun | NoGun:
    return gun_for(joint, technician_guns=outfit.guns, guns=site.guns, greases=site.greases)


def _longer(site: Site, joint: Joint, *, gun: Gun, outfit: Outfit) -> list[Gun]:
    """The technician's other guns that fit the joint, of a longer hose."""
    return [
        other
        for other in site.guns
        if other.name in outfit.guns
        and other.hose_m > gun.hose_m
        and not isinstance(_gun(site, joint, outfit=replace(outfit, guns=(other.name,))), NoGun)
    ]


def _joint_work(site: Site, joint: Joint, *, item: DueItem, gun: Gun, outfit: Outfit) -> JointWork:
    longer = _longer(site, joint, gun=gun, outfit=outfit)
    return JointWork(
        joint,
        item,
        _fittings(site, joint, item=item, gun=gun, outfit=outfit),
        weight_of(item),
        tuple(
            f
            for other in longer
            for f in _fittings(site, joint, item=item, gun=other, outfit=outfit)
        ),
    )


def _fittings(
    site: Site, joint: Joint, *, item: DueItem, gun: Gun, outfit: Outfit
) -> tuple[FittingWork, ...]:
    """The fittings of a joint that are due, by one gun."""
    assert joint.dose is not None  # the record refuses a pumped joint without one
    grease = next(g for g in site.greases if g.name == gun.grease)
    strokes = fitting_strokes(joint.dose, gun, grease)
    dose = dose_cm3(joint.dose, density_g_cm3=grease.density_g_cm3)
    pump_s = outfit.share_of(joint.kind) * (outfit.reach.handling_s + strokes * gun.stroke_s)
    return tuple(
        FittingWork(
            joint=joint.name,
            fitting=fitting.name,
            head=fitting.head,
            gun=gun.name,
            grease=grease.name,
            strokes=strokes,
            dose_cm3=dose,
            pump_s=pump_s,
            stroke_s=gun.stroke_s,
            hose_m=gun.hose_m,
            why=item.reason,
        )
        for fitting in _at_hand(joint, item)
    )


def left_out(item: DueItem, reason: str, *, fitting: str | None = None, helps: str = "") -> LeftOut:
    """The record of a joint (or one of its fittings) that the plan does not serve."""
    return LeftOut(
        unit=item.unit,
        joint=item.joint,
        fitting=fitting,
        reason=reason,
        helps=helps,
        overdue_h=item.overdue_h,
        critical=item.critical,
    )
