"""The promise that every fitting gets its dose: strokes, re-derived from dose, gun and grease."""

import math
from collections.abc import Iterator

from greaseroute.audit.case import Case
from greaseroute.audit.finding import Finding
from greaseroute.catalogue.joint import Dose
from greaseroute.site.crew import Grease, Gun

WHOLE = 1e-9  # a dose that is whole strokes but for rounding in the last digit stays whole
HANDBOOK_G_PER_MM2 = 0.005  # regrease quantity G(g) = 0.005 x D(mm) x B(mm), as handbooks have it


def dose_cm3(dose: Dose, grease: Grease) -> float:
    """What each fitting gets: the least of a range, the handbook quantity for a pin."""
    if dose.cm3 is not None:
        return dose.cm3[0]
    if dose.strokes is not None and dose.stroke_cm3 is not None:
        return dose.strokes[0] * dose.stroke_cm3
    mass_g = HANDBOOK_G_PER_MM2 * (dose.pin_diameter_mm or 0.0) * (dose.pin_length_mm or 0.0)
    return mass_g / grease.density_g_cm3


def stroke_cm3(gun: Gun, grease: Grease) -> float:
    """What one stroke gives: measured, or a tenth of ten strokes weighed."""
    if gun.stroke_cm3 is not None:
        return gun.stroke_cm3
    return (gun.ten_strokes_g or 0.0) / 10 / grease.density_g_cm3


def strokes_for(wanted_cm3: float, gun: Gun, grease: Grease) -> int:
    """The fewest full strokes that give a dose; at least one."""
    return max(1, math.ceil(wanted_cm3 / stroke_cm3(gun, grease) - WHOLE))


def strokes_give_the_dose(case: Case) -> Iterator[Finding]:
    """The dose told is the joint's; strokes are the fewest that give it, for each fitting."""
    for each in case.basis.tasks:
        gun, joint = case.basis.guns.get(each.task.gun), case.joint(each.unit, each.task.joint)
        grease = None if gun is None else case.basis.greases.get(gun.grease)
        if gun is None or grease is None or joint is None or joint.dose is None:
            continue
        where = case.where_task(each)
        wanted_cm3 = dose_cm3(joint.dose, grease)
        if not math.isclose(wanted_cm3, each.task.dose_cm3, rel_tol=1e-6):
            what = f"the dose is told as {each.task.dose_cm3:g} cm3, wanted is {wanted_cm3:g}"
            off = abs(wanted_cm3 - each.task.dose_cm3)
            yield where.finding("dose", what, off=off, measure="cm3")
        needed = strokes_for(wanted_cm3, gun, grease)
        if needed != each.task.strokes:
            what = f"{each.task.strokes} strokes are told, {needed} give the dose"
            off = abs(needed - each.task.strokes)
            yield where.finding("dose", what, off=off, measure="strokes")
