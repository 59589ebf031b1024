"""Every pumped joint of the site as rows of arrays: interval, what is used of it, what it takes."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

import numpy as np
from numpy.typing import NDArray

from greaseroute.catalogue.joint import Joint
from greaseroute.dose.cartridges import cartridge_strokes
from greaseroute.dose.matching import NoGun, gun_for
from greaseroute.dose.strokes import fitting_strokes, stroke_cm3
from greaseroute.intervals.worklist import DueItem, unit_joints, work_list
from greaseroute.site.crew import Grease, Gun
from greaseroute.site.model import Site
from greaseroute.site.reach import Reach
from greaseroute.units import S_PER_MIN
from greaseroute.visits.work import NOT_FROM_GROUND

FloatArray = NDArray[np.float64]
NEVER = np.inf


@dataclass(frozen=True, slots=True)
class Service:
    """What one service of a joint takes: the gun, strokes on all its fittings, grams, seconds.

    ``cartridges`` is the share of a cartridge; ``work_s`` is couplings, strokes, settling once
    and the procedure where there is one, without the walk.
    """

    gun: Gun
    grease: Grease
    strokes: int
    grams: float
    cartridges: float
    work_s: float


def service_of(site: Site, joint: Joint, *, reach: Reach, guns: Sequence[str]) -> Service | NoGun:
    """One service of ``joint`` with the first gun named that fits it, or why none does."""
    if not joint.within_reach:
        return NoGun(reason=NOT_FROM_GROUND)
    gun = gun_for(joint, technician_guns=guns, guns=site.guns, greases=site.greases)
    if isinstance(gun, NoGun):
        return gun
    assert joint.dose is not None  # the record refuses a pumped joint without one
    grease = next(g for g in site.greases if g.name == gun.grease)
    fittings = len(joint.within_reach)
    count = fitting_strokes(joint.dose, gun, grease) * fittings
    procedure_s = joint.procedure.minutes * S_PER_MIN if joint.procedure else 0.0
    pump_s = fittings * reach.handling_s + count * gun.stroke_s
    return Service(
        gun=gun,
        grease=grease,
        strokes=count,
        grams=count * stroke_cm3(gun, grease) * grease.density_g_cm3,
        cartridges=count / cartridge_strokes(gun, grease),
        work_s=pump_s + reach.settle_s + procedure_s,
    )


def crew_guns(site: Site) -> tuple[str, ...]:
    """Every gun some technician carries, in the technicians' order."""
    return tuple(dict.fromkeys(gun for t in site.technicians for gun in t.guns))


@dataclass(frozen=True, slots=True, eq=False)
class JointRows:
    """N pumped joints. Arrays are (N,); limits are ``inf`` where the interval has no such limit.

    ``unit`` is the row of the fleet list; ``since_h`` and ``since_days`` are ``inf`` where the
    last service is not known; ``greased_today`` joints owe no every-shift service on the first
    morning. ``no_gun`` lists joints that nobody has a gun for, with the reason.
    """

    items: tuple[DueItem, ...]
    joints: tuple[Joint, ...]
    services: tuple[Service, ...]
    unit: NDArray[np.int64]
    limit_h: FloatArray
    limit_days: FloatArray
    every_shift: NDArray[np.bool_]
    since_h: FloatArray
    since_days: FloatArray
    greased_today: NDArray[np.bool_]
    no_gun: tuple[tuple[DueItem, str], ...]

    def __len__(self) -> int:
        return len(self.items)


def _limit(value: float | None) -> float:
    return NEVER if value is None else value


def _since(item: DueItem) -> tuple[float, float]:
    """Hours and days since greased; unknown both where never recorded or the meter ran back."""
    if item.since_days is None or (item.since_h is None and item.interval_h is not None):
        return NEVER, NEVER
    return item.since_h or 0.0, item.since_days


def joint_rows(site: Site, at: datetime) -> JointRows:
    """The site's pumped joints at ``at``, in the order of the work list."""
    guns, reach = crew_guns(site), site.technicians[0].reach
    joint_by = {(u.unit, j.name): j for u in site.units for j in unit_joints(site, u)}
    place = {unit.unit: row for row, unit in enumerate(site.units)}
    items, joints, services, no_gun = [], [], [], []
    for item in work_list(site, at):
        if item.status in ("look only", "never pumped"):
            continue
        joint = joint_by[item.unit, item.joint]
        service = service_of(site, joint, reach=reach, guns=guns)
        if isinstance(service, NoGun):
            no_gun.append((item, service.reason))
            continue
        items.append(item)
        joints.append(joint)
        services.append(service)
    since = np.array([_since(item) for item in items]).reshape(-1, 2)
    return JointRows(
        items=tuple(items),
        joints=tuple(joints),
        services=tuple(services),
        unit=np.array([place[item.unit] for item in items], dtype=np.int64),
        limit_h=np.array([_limit(item.interval_h) for item in items]),
        limit_days=np.array([_limit(item.interval_days) for item in items]),
        every_shift=np.array([bool(j.interval and j.interval.every_shift) for j in joints]),
        since_h=since[:, 0].copy(),
        since_days=since[:, 1].copy(),
        greased_today=np.array([item.since_days == 0 for item in items]),
        no_gun=tuple(no_gun),
    )
