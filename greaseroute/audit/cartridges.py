"""Promises about cartridges: changed where the gun runs empty, carried in a bag that holds them."""

import math
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field

from greaseroute.audit.case import Case
from greaseroute.audit.dose import WHOLE, stroke_cm3
from greaseroute.audit.finding import Finding, Where
from greaseroute.audit.house_rules import PLACE_M
from greaseroute.plan.round import FittingTask, TechnicianPlan
from greaseroute.site.crew import Grease, Gun, Technician

COUNT_OFF = 1e-3


def strokes_in(gun: Gun, grease: Grease) -> int:
    """Strokes of one cartridge: its usable share over the stroke, less those for priming."""
    usable_cm3 = grease.cartridge_g * grease.usable_share / grease.density_g_cm3
    return math.floor(usable_cm3 / stroke_cm3(gun, grease) + WHOLE) - gun.priming_strokes


@dataclass(slots=True)
class _Hands:
    """The guns in one technician's hands while the walk is followed, and what was put in."""

    case: Case
    left: dict[str, int] = field(default_factory=dict)
    put_in: Counter[str] = field(default_factory=Counter)
    strokes: Counter[str] = field(default_factory=Counter)
    grams: dict[str, float] = field(default_factory=dict)

    def pump(self, task: FittingTask) -> int | None:
        """Cartridges that must go in before a fitting; None for a gun that is not known."""
        gun = self.case.basis.guns.get(task.gun)
        grease = None if gun is None else self.case.basis.greases.get(gun.grease)
        if gun is None or grease is None:
            return None
        left = self.left.get(gun.name, gun.left_strokes)
        needed = 0
        if left < task.strokes:
            full = max(1, strokes_in(gun, grease))
            needed = math.ceil(task.strokes / full)
            left = needed * full
        self.left[gun.name] = left - task.strokes
        self.put_in[grease.name] += needed
        self.strokes[grease.name] += task.strokes
        stroke_g = stroke_cm3(gun, grease) * grease.density_g_cm3
        self.grams[grease.name] = self.grams.get(grease.name, 0.0) + task.strokes * stroke_g
        return needed


def guns_after(case: Case, technician: TechnicianPlan, gun: str) -> tuple[int, int]:
    """Strokes left in a gun at the end of a walk, and the number of the last stop at which a
    cartridge is put into it (-1 where none is).
    """
    hands, changed = _Hands(case), -1
    for number, stop in enumerate(technician.stops):
        for task in (task for stand in stop.stands for task in stand.fittings):
            hands.pump(task)
            changed = number if task.gun == gun and task.put_in else changed
    found = case.basis.guns[gun]
    return hands.left.get(gun, found.left_strokes), changed


def cartridges_are_changed(case: Case) -> Iterator[Finding]:
    """A cartridge goes in before each fitting that the gun cannot finish, and nowhere else."""
    for technician in case.basis.plan.technicians:
        hands = _Hands(case)
        for stop in technician.stops:
            for task in (task for stand in stop.stands for task in stand.fittings):
                needed = hands.pump(task)
                told = task.put_in, task.cartridge_change
                if needed is not None and told != (needed, needed > 0):
                    where = Where(technician.name, stop.unit, task.joint, task.fitting)
                    what = f"{task.put_in} cartridges go in before it, the gun asks for {needed}"
                    off = abs(task.put_in - needed)
                    yield where.finding("cartridges", what, off=off, measure="cartridges")
        yield from _counted(case, technician, hands)
    yield from _totals(case)


def _counted(case: Case, technician: TechnicianPlan, hands: _Hands) -> Iterator[Finding]:
    """The counts of a technician are those of the walk, carry is used and reserve together."""
    where = Where(technician.name)
    if set(technician.cartridges) != set(hands.strokes):
        yield where.finding("cartridges", "the counts are not of the greases that are pumped")
    for name, count in technician.cartridges.items():
        grease = case.basis.greases.get(name)
        reserve = 0 if grease is None else grease.reserve_cartridges
        if _full(case, technician):  # what no longer fits into the bag is not carried
            reserve = min(reserve, count.reserve)
        for what, told, found in (
            ("put in", count.used, hands.put_in[name]),
            ("strokes", count.strokes, hands.strokes[name]),
            ("grams", count.grams, hands.grams.get(name, 0.0)),
            ("kept in reserve", count.reserve, reserve),
            ("to carry", count.carry, count.used + count.reserve),
        ):
            if abs(told - found) > COUNT_OFF:
                text = f"{name}, {what}: {told:g} told, {found:g} by the walk"
                yield where.finding("cartridges", text, off=abs(told - found))


def _full(case: Case, technician: TechnicianPlan) -> bool:
    """Whether the bag of a technician is full at some time: all but one place, or a reload."""
    room = case.basis.crew[technician.name].bag_cartridges
    carried = sum(count.carry for count in technician.cartridges.values())
    return carried >= room - 1 or any(stop.reload for stop in technician.stops)


def _totals(case: Case) -> Iterator[Finding]:
    """The counts of the whole plan are those of its technicians added up."""
    plan = case.basis.plan
    told = Counter[tuple[str, str]]()
    for grease, count in plan.cartridges.items():
        told.update({(grease, what): n for what, n in count.model_dump().items()})
    for technician in plan.technicians:
        for grease, count in technician.cartridges.items():
            told.subtract({(grease, what): n for what, n in count.model_dump().items()})
    for (grease, what), off in told.items():
        if abs(off) > COUNT_OFF:
            text = f"{grease}, {what}: the total is not the sum of the technicians"
            yield Where().finding("cartridges", text, off=abs(off))


def bags_hold_what_is_carried(case: Case) -> Iterator[Finding]:
    """No trip begins with more cartridges than the bag holds, or goes on with fewer than needed."""
    for technician, walker in zip(case.basis.plan.technicians, case.basis.walkers, strict=True):
        loads = [Counter(stop.load) for stop in technician.stops if stop.reload]
        first = Counter({grease: c.used for grease, c in technician.cartridges.items()})
        for load in loads:
            first.subtract(load)
        held: Counter[str] = Counter()
        for number, needs in enumerate(_trips(technician)):
            held.update([first, *loads][number])
            if walker is not None:
                yield from _bag(technician, walker, held=(number, held), needs=needs)
            held.subtract(needs)


def _trips(technician: TechnicianPlan) -> list[Counter[str]]:
    """Cartridges put in between one visit to a store and the next, by grease."""
    trips: list[Counter[str]] = [Counter()]
    for stop in technician.stops:
        if stop.reload:
            trips.append(Counter())
        for task in (task for stand in stop.stands for task in stand.fittings):
            trips[-1][task.grease] += task.put_in
    return trips


def _bag(
    technician: TechnicianPlan,
    walker: Technician,
    *,
    held: tuple[int, Counter[str]],
    needs: Counter[str],
) -> Iterator[Finding]:
    """One trip: its number and what the bag holds then, beside the reserve, and what goes in."""
    number, in_bag = held
    when = "at the start" if number == 0 else f"after store visit {number}"
    where = Where(technician.name)
    reserve = sum(c.reserve for c in technician.cartridges.values())
    over = sum(in_bag.values()) + reserve - walker.bag_cartridges
    if over > 0:
        what = f"{sum(in_bag.values())} cartridges and {reserve} in reserve are in a bag of "
        what += f"{walker.bag_cartridges} {when}"
        yield where.finding("bag", what, off=over, measure="cartridges")
    for grease, n in needs.items():
        if n > in_bag[grease]:
            what = f"{n} of {grease} go in on the trip {when}, {in_bag[grease]} are in the bag"
            yield where.finding("bag", what, off=n - in_bag[grease], measure="cartridges")


def stores_are_visited_for_something(case: Case) -> Iterator[Finding]:
    """A visit to a store is at a store and loads something; any other is at a unit."""
    stores = {p.name: p.point for p in case.basis.site.ground.places if p.kind == "store"}
    for technician, _, stop in case.basis.stops():
        where = Where(technician.name, stop.unit, at=stop.arrive)
        if not stop.reload:
            if stop.unit not in case.basis.units:
                yield where.finding("visits", "is no unit of the site")
            continue
        if not any(n > 0 for n in stop.load.values()):
            yield where.finding("stores", "a store visit that loads nothing")
        if stop.unit not in stores or not stop.path:
            yield where.finding("stores", "is no store")
            continue
        point = stores[stop.unit]
        off_m = math.dist(stop.path[-1], (point.x, point.y))
        if off_m > PLACE_M:
            yield where.finding("stores", "the walk does not lead to it", off=off_m, measure="m")
