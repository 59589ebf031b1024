"""A change in the middle of a round: what is booked, who stands where, what moved or is blocked."""

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Literal, Self

from pydantic import Field, model_validator
from shapely.geometry import Point

from greaseroute.errors import UnknownName
from greaseroute.intervals.worklist import DueItem, unit_joints
from greaseroute.plan.round import LeftOut, RoundPlan
from greaseroute.records import Record
from greaseroute.replan.changed import changed
from greaseroute.rounds.request import Keep
from greaseroute.site.crew import Gun, Technician
from greaseroute.site.fleet import Unit
from greaseroute.site.ground_plan import Place
from greaseroute.site.model import Site
from greaseroute.visits.work import left_out
from greaseroute.walk.yard import stances_now

STANDS = "where {} stands"
LONGEST_M = 30.0  # no machine reaches farther from its own point
STEP_DOWN_M = 0.05
NOT_SOUGHT = "none is sought for the rest of a round, since somebody waits for the new plan"


class Moved(Record):
    """A unit that stands otherwise than ``fleet.csv`` says; what is left out stays as it was."""

    unit: str = Field(description="fleet number")
    heading_deg: float | None = Field(
        default=None, ge=0, lt=360, description="compass heading, clockwise from north"
    )
    posture: str | None = Field(default=None, description="posture it stands in now")
    slew_deg: float | None = Field(default=None, ge=-360, le=360, description="slew angle now")


class MovedUnit(Moved):
    """A unit that stands otherwise than ``fleet.csv`` says, in metres like the site's files."""

    x_m: float | None = Field(default=None, description="east, as in fleet.csv")
    y_m: float | None = Field(default=None, description="north, as in fleet.csv")

    @model_validator(mode="after")
    def _both(self) -> Self:
        if (self.x_m is None) != (self.y_m is None):
            raise ValueError("x_m and y_m, or neither where it only turned or moved its implements")
        return self


class BlockedFitting(Record):
    """A fitting that takes no grease, or a whole joint that cannot be done."""

    unit: str
    joint: str
    fitting: str | None = Field(default=None, description="left out: the whole joint")
    reason: str = Field(default="found blocked", description="told where it is listed as left out")


class SoFar(Record):
    """What happened up to the moment ``at``, wherever it was."""

    at: datetime = Field(
        description="moment from which the rest is planned; site time unless an offset is given"
    )
    done: tuple[tuple[str, str], ...] = Field(
        default=(), description="joints booked as done, each as [unit, joint]"
    )
    done_units: tuple[str, ...] = Field(
        default=(), description="units where everything that was due is booked as done"
    )
    done_fittings: tuple[tuple[str, str, str], ...] = Field(
        default=(), description="single fittings booked as done, each as [unit, joint, fitting]"
    )
    blocked: tuple[BlockedFitting, ...] = Field(
        default=(), description="fittings and joints that cannot be greased"
    )
    gone: tuple[str, ...] = Field(
        default=(), description="units that have left or gone to work: their ground is free"
    )
    left_strokes: dict[str, int] = Field(
        default_factory=dict, description="strokes left in each gun, where not as in site.toml"
    )
    keep: Literal["order", "free"] = Field(
        default="order",
        description="order: keep to the order of the plan under way; free: any order",
    )
    change_cost_s: float = Field(
        default=60.0, ge=0,
        description="a unit that follows another than before must save more than so many seconds",
    )  # fmt: skip


class DoneSoFar(SoFar):
    """How far a round has come, in metres like the site's files (in code: its local plane)."""

    places: dict[str, tuple[float, float]] = Field(
        default_factory=dict,
        description="where technicians stand now, [x_m, y_m] by name; not named: at the start",
    )
    moved: tuple[MovedUnit, ...] = Field(default=(), description="units that stand otherwise now")


@dataclass(frozen=True, slots=True)
class Rest:
    """What is left of a round: the site as it is now, what is to be done, what was found."""

    site: Site
    items: tuple[DueItem, ...]
    left: tuple[LeftOut, ...]
    keep: Keep | None


def rest_of(
    site: Site, items: Sequence[DueItem], so_far: DoneSoFar, *, earlier: RoundPlan | None
) -> Rest:
    """The site as it is now and what is left of ``items``. Raises UnknownName."""
    _check_names(site, so_far)
    gone, done = set(so_far.gone), booked(items, so_far, site)
    items = [_less(item, so_far, site) for item in items]
    blocked = {(b.unit, b.joint): b for b in so_far.blocked if b.fitting is None}
    open_ = [i for i in items if (i.unit, i.joint) not in done and i.unit not in gone]
    left = [
        left_out(i, blocked[i.unit, i.joint].reason) for i in open_ if (i.unit, i.joint) in blocked
    ]
    left += [
        left_out(i, "the unit has left")
        for i in items
        if i.unit in gone and (i.unit, i.joint) not in done
    ]
    rest = tuple(i for i in open_ if (i.unit, i.joint) not in blocked)
    left += [_blocked_fitting(b, rest) for b in so_far.blocked if b.fitting and _named(b, rest)]
    keep = None
    if so_far.keep == "order" and earlier is not None:
        keep = Keep(orders_of(earlier), so_far.change_cost_s)
    return Rest(site_now(site, so_far, earlier=earlier), rest, tuple(left), keep)


def booked(
    items: Iterable[DueItem], so_far: DoneSoFar, site: Site | None = None
) -> set[tuple[str, str]]:
    """The (unit, joint) that are done: those named, and all that is due at units done.

    With the ``site`` also joints of which every fitting due is done.
    """
    units, items = set(so_far.done_units), list(items)
    done = set(so_far.done) | {(i.unit, i.joint) for i in items if i.unit in units}
    if site is not None:
        done |= {(i.unit, i.joint) for i in items if not _open_fittings(i, so_far, site)}
    return done


def _open_fittings(item: DueItem, so_far: DoneSoFar, site: Site) -> tuple[str, ...]:
    """The fittings of an item that are due and not done."""
    names = item.due_fittings or fitting_names(site, item.unit, item.joint)
    done = {
        f for unit, joint, f in so_far.done_fittings if (unit, joint) == (item.unit, item.joint)
    }
    return tuple(name for name in names if name not in done)


def fitting_names(site: Site, unit: str, joint: str) -> tuple[str, ...]:
    """The fittings of a joint; none where the site has no such joint."""
    found = [u for u in site.units if u.unit == unit]
    joints = unit_joints(site, found[0]) if found else ()
    return tuple(f.name for j in joints if j.name == joint for f in j.fittings)


def _less(item: DueItem, so_far: DoneSoFar, site: Site) -> DueItem:
    """The item with the fittings that are left of it, where some are done."""
    if not any((u, j) == (item.unit, item.joint) for u, j, _ in so_far.done_fittings):
        return item
    left = _open_fittings(item, so_far, site)
    return item.model_copy(update={"due_fittings": left, "fittings": len(left)})


def orders_of(plan: RoundPlan) -> dict[str, tuple[str, ...]]:
    """The units of each technician in the order of a plan."""
    return {
        t.name: tuple(stop.unit for stop in t.stops if not stop.reload) for t in plan.technicians
    }


def _named(blocked: BlockedFitting, items: Iterable[DueItem]) -> bool:
    return any((i.unit, i.joint) == (blocked.unit, blocked.joint) for i in items)


def _blocked_fitting(blocked: BlockedFitting, items: Iterable[DueItem]) -> LeftOut:
    item = next(i for i in items if (i.unit, i.joint) == (blocked.unit, blocked.joint))
    return left_out(item, blocked.reason, fitting=blocked.fitting)


def _check_names(site: Site, so_far: DoneSoFar) -> None:
    units = {u.unit for u in site.units}
    told = [
        *(m.unit for m in so_far.moved),
        *so_far.gone,
        *(b.unit for b in so_far.blocked),
        *(unit for unit, _ in so_far.done),
        *(unit for unit, _, _ in so_far.done_fittings),
        *so_far.done_units,
    ]
    _refuse_unknown("unit", told, units)
    _refuse_unknown("technician", so_far.places, {t.name for t in site.technicians})
    _refuse_unknown("gun", so_far.left_strokes, {g.name for g in site.guns})


def _refuse_unknown(what: str, names: Iterable[str], known: set[str]) -> None:
    for name in names:
        if name not in known:
            raise UnknownName(
                f"done so far: {what}", repr(name), limit=", ".join(sorted(known)),
                next_step="correct it",
            )  # fmt: skip


def site_now(site: Site, so_far: DoneSoFar, *, earlier: RoundPlan | None) -> Site:
    """The site with units, technicians and guns as they are now.

    A unit that the earlier plan asks for another posture stays in the one it was last greased in.
    """
    moved = {m.unit: m for m in so_far.moved}
    postures = {} if earlier is None else postures_left(earlier, so_far)
    units = tuple(
        _standing_unit(u, moved.get(u.unit), posture=postures.get(u.unit))
        for u in site.units
        if u.unit not in so_far.gone
    )
    places = [
        Place(STANDS.format(name), "here", _stepped_off(replace(site, units=units), Point(*spot)))
        for name, spot in sorted(so_far.places.items())
    ]
    return replace(
        site,
        units=units,
        technicians=tuple(_standing(t, so_far) for t in site.technicians),
        guns=tuple(_with_strokes(g, so_far) for g in site.guns),
        ground=replace(site.ground, places=(*site.ground.places, *places)),
    )


def _stepped_off(site: Site, spot: Point) -> Point:
    """Where somebody who stands on a machine comes down: beside all of it.

    Just off its edge might be a pocket between its parts, from which one cannot walk on.
    """
    near = [u for u in site.units if spot.distance(Point(u.x_m, u.y_m)) < LONGEST_M]
    aside_m = 2 * site.rules.clearance_m + STEP_DOWN_M
    for (placed,) in stances_now(replace(site, units=tuple(near))).values():
        if placed.outline.distance(spot) < site.rules.clearance_m:
            rim = placed.outline.convex_hull.buffer(aside_m).exterior
            return rim.interpolate(rim.project(spot))
    return spot


def postures_left(plan: RoundPlan, so_far: DoneSoFar) -> dict[str, str]:
    """The posture each unit was in when the last of its joints that is booked was greased."""
    done, whole = set(so_far.done), set(so_far.done_units)
    return {
        stop.unit: stand.posture
        for technician in plan.technicians
        for stop in technician.stops
        for stand in stop.stands
        if stop.unit in whole or any((stop.unit, f.joint) in done for f in stand.fittings)
    }


def _standing_unit(unit: Unit, moved: MovedUnit | None, *, posture: str | None) -> Unit:
    """The unit where it was moved to, else in the posture that it was left in."""
    if moved is not None:
        told = moved.model_dump(exclude={"unit"}, exclude_none=True)
        return unit.model_copy(update=told)
    return unit if posture is None else unit.model_copy(update={"posture": posture})


def _standing(technician: Technician, so_far: DoneSoFar) -> Technician:
    if technician.name not in so_far.places:
        return technician
    return technician.model_copy(
        update={"start": STANDS.format(technician.name), "starts_at": None}
    )


def _with_strokes(gun: Gun, so_far: DoneSoFar) -> Gun:
    left = so_far.left_strokes.get(gun.name)
    return gun if left is None else gun.model_copy(update={"left_strokes": left})


def as_rest(
    plan: RoundPlan, so_far: DoneSoFar, *, begun: datetime, joints: int, earlier: RoundPlan | None
) -> RoundPlan:
    """The plan of a rest, saying so: since when, how many ``joints`` are booked, what changed."""
    told = [f"joints booked as done {joints}"]
    told += [f"units that moved {len(so_far.moved)}"] if so_far.moved else []
    told += [f"units that left {len(so_far.gone)}"] if so_far.gone else []
    told += [f"found blocked {len(so_far.blocked)}"] if so_far.blocked else []
    note = (
        f"This is the rest of the round that began at {begun:%H:%M}, planned at "
        f"{datetime.fromisoformat(plan.at):%H:%M}: {', '.join(told)}."
    )
    kept = [] if earlier is None else [_order_note(plan, earlier), *changed(plan, earlier)]
    bound = plan.bound
    if bound.gap_pct is None:
        bound = bound.model_copy(update={"what": NOT_SOUGHT})
    told_too = {"notes": (note, *kept, *plan.notes), "bound": bound}
    return plan.model_copy(update={"rest_of_round_from": begun.isoformat(), **told_too})


def _order_note(plan: RoundPlan, earlier: RoundPlan) -> str:
    """How many units are no longer visited by whom and after which they were to be."""
    planned = {unit for order in orders_of(plan).values() for unit in order}
    then = _before(orders_of(earlier), planned)
    other = sum(
        then.get(unit) != place for unit, place in _before(orders_of(plan), planned).items()
    )
    if not other:
        return "The order of the earlier plan is kept."
    return (
        "Units that follow another than in the earlier plan, or go to somebody else: "
        f"{other} of {len(planned)}."
    )


def _before(
    orders: Mapping[str, tuple[str, ...]], planned: Collection[str]
) -> dict[str, tuple[str, str]]:
    """Who visits each of the units ``planned``, and after which of them."""
    rows = {name: [unit for unit in order if unit in planned] for name, order in orders.items()}
    return {
        unit: (name, before)
        for name, row in rows.items()
        for before, unit in zip(["", *row], row, strict=False)
    }
