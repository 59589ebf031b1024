"""A change in the middle of a round: what is booked, who stands where, what moved or is blocked."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Literal

from pydantic import Field
from shapely.geometry import Point

from greaseroute.due.worklist import DueItem
from greaseroute.errors import UnknownName
from greaseroute.records import Record
from greaseroute.rounds.plan import LeftOut, RoundPlan
from greaseroute.rounds.prepare import Keep
from greaseroute.rounds.work import left_out
from greaseroute.site.crew import Gun, Technician
from greaseroute.site.fleet import Unit
from greaseroute.site.ground_plan import Place
from greaseroute.site.model import Site

STANDS = "where {} stands"


class MovedUnit(Record):
    """A unit that stands elsewhere than ``fleet.csv`` says; what is left out stays as it was."""

    unit: str
    x_m: float
    y_m: float
    heading_deg: float | None = Field(default=None, ge=0, lt=360)
    posture: str | None = None
    slew_deg: float | None = None


class BlockedFitting(Record):
    """A fitting that takes no grease, or (``fitting`` None) a whole joint that cannot be done."""

    unit: str
    joint: str
    fitting: str | None = None
    reason: str = "found blocked"


class DoneSoFar(Record):
    """How far a round has come at the moment ``at``.

    ``places`` are (x_m, y_m) where technicians stand now; who is not named is at the start.
    ``done`` are (unit, joint) already booked. ``gone`` units have left or work again.
    ``left_strokes`` are what the guns hold now. ``keep``: the order of the earlier plan is kept
    to, unless a unit that follows another than before saves more than ``change_cost_s``; else
    the order is free.
    """

    at: datetime
    places: dict[str, tuple[float, float]] = Field(default_factory=dict)
    done: tuple[tuple[str, str], ...] = ()
    blocked: tuple[BlockedFitting, ...] = ()
    moved: tuple[MovedUnit, ...] = ()
    gone: tuple[str, ...] = ()
    left_strokes: dict[str, int] = Field(default_factory=dict)
    keep: Literal["order", "free"] = "order"
    change_cost_s: float = Field(default=60.0, ge=0)


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
    gone, done = set(so_far.gone), set(so_far.done)
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
    return Rest(_site_now(site, so_far), rest, tuple(left), keep)


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


def _site_now(site: Site, so_far: DoneSoFar) -> Site:
    moved = {m.unit: m for m in so_far.moved}
    places = [
        Place(STANDS.format(name), "here", Point(*spot))
        for name, spot in sorted(so_far.places.items())
    ]
    return replace(
        site,
        units=tuple(_moved(u, moved.get(u.unit)) for u in site.units if u.unit not in so_far.gone),
        technicians=tuple(_standing(t, so_far) for t in site.technicians),
        guns=tuple(_with_strokes(g, so_far) for g in site.guns),
        ground=replace(site.ground, places=(*site.ground.places, *places)),
    )


def _moved(unit: Unit, change: MovedUnit | None) -> Unit:
    if change is None:
        return unit
    told = change.model_dump(exclude={"unit"}, exclude_none=True)
    return unit.model_copy(update=told)


def _standing(technician: Technician, so_far: DoneSoFar) -> Technician:
    if technician.name not in so_far.places:
        return technician
    return technician.model_copy(
        update={"start": STANDS.format(technician.name), "starts_at": None}
    )


def _with_strokes(gun: Gun, so_far: DoneSoFar) -> Gun:
    left = so_far.left_strokes.get(gun.name)
    return gun if left is None else gun.model_copy(update={"left_strokes": left})
