"""What a round takes with the guns as the morning before left them: cartridges, grams, minutes."""

from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field

from greaseroute.dose.cartridges import cartridge_strokes
from greaseroute.dose.strokes import stroke_cm3
from greaseroute.plan.round import FittingTask, RoundPlan, TechnicianPlan
from greaseroute.site.model import Site


@dataclass(frozen=True, slots=True)
class Account:
    """Of one round by grease: strokes, grams, cartridges put in. ``left`` are the strokes in each
    gun afterwards; ``longer_s`` what each technician's changes take more than the plan says."""

    strokes: Counter[str] = field(default_factory=Counter)
    grams: Counter[str] = field(default_factory=Counter)
    cartridges: Counter[str] = field(default_factory=Counter)
    left: dict[str, int] = field(default_factory=dict)
    longer_s: dict[str, float] = field(default_factory=dict)


def tasks_of(technician: TechnicianPlan) -> Iterator[tuple[str, FittingTask]]:
    """(unit, fitting) in the order in which they are pumped."""
    for stop in technician.stops:
        for stand in stop.stands:
            for task in stand.fittings:
                yield stop.unit, task


def account_of(plan: RoundPlan, site: Site, *, left: Mapping[str, int]) -> Account:
    """The account of a round that begins with so many strokes ``left`` in each gun.

    A cartridge that cannot finish the next fitting is changed before it, as on the card.
    """
    guns = {gun.name: gun for gun in site.guns}
    greases = {grease.name: grease for grease in site.greases}
    found = Account(left=dict(left))
    for technician in plan.technicians:
        longer_s = 0.0
        for _, task in tasks_of(technician):
            gun, grease = guns[task.gun], greases[task.grease]
            put_in, full = 0, cartridge_strokes(gun, grease)
            if found.left[gun.name] < task.strokes:
                put_in = -(-task.strokes // full)
                found.left[gun.name] = put_in * full
            found.left[gun.name] -= task.strokes
            longer_s += (put_in - task.put_in) * gun.change_s
            found.cartridges[grease.name] += put_in
            found.strokes[grease.name] += task.strokes
            grams = task.strokes * stroke_cm3(gun, grease) * grease.density_g_cm3
            found.grams[grease.name] += grams  # type: ignore[assignment]
        found.longer_s[technician.name] = longer_s
    return found


def guns_at_start(site: Site) -> dict[str, int]:
    """Strokes in each gun as the site says."""
    return {gun.name: gun.left_strokes for gun in site.guns}
