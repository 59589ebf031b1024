"""How a unit is isolated before anybody touches it: the steps of its family, with their times.

The time of the rules (``isolation_s``) is for all of it, the climb to cab or isolator and back
included. How it is shared out among the steps is common practice, no source; which steps a machine
has beside the common ones follows from its family and its cautions.
"""

from greaseroute.catalogue.machine_type import MachineType
from greaseroute.site.crew import WorkingRules
from greaseroute.units import ms

Weighed = tuple[str, float]  # a step and its part of the time

WHEELED = frozenset(
    {
        *("loader", "backhoe loader", "dumper", "grader", "scraper", "landfill compactor"),
        *("rough-terrain telescopic handler", "material handler", "truck", "trailer"),
        *("agricultural tractor", "forestry machine", "forklift", "work platform"),
    }
)
DOWN: Weighed = ("every implement down on the ground", 3.0)
OFF: Weighed = ("brake set, engine off", 2.0)
PRESSURE: Weighed = ("pressure let off: each lever through all its positions", 3.0)
KEY: Weighed = ("key out, isolator off", 2.0)
LOCK: Weighed = ("your own lock and tag on it", 4.0)
TRY: Weighed = ("try to start it: it must not", 3.0)
CLIMB: Weighed = ("up to the cab or the isolator and down again", 3.0)
CHOCKS: Weighed = ("a chock before and behind a wheel", 3.0)
FRAME_LOCK: Weighed = ("frame lock of the articulation in", 3.0)
FLYWHEEL: Weighed = ("wait until the flywheel stands still", 6.0)
FEEDER: Weighed = ("feeder stopped and locked off as well", 3.0)
RUN_BACK: Weighed = ("belt empty or held: it must not run back", 4.0)
BATTERY: Weighed = ("charging cable out, battery plug pulled", 3.0)


def _steps(machine: MachineType) -> tuple[Weighed, ...]:
    """The steps of a machine in order.

    Trying to start it is last: should it start, what holds it in place is there already. (29 CFR
    1910.147(d): shut down, isolate, lock, make stored energy safe, then verify.)
    """
    plant = machine.family in ("crusher", "screen", "conveyor", "washing plant")
    wheels = machine.family in WHEELED and "crawler" not in machine.name
    return (
        *(() if plant else (DOWN,)),
        *((CLIMB,) if machine.operating_mass_kg >= 5000 else ()),
        OFF,
        *((FLYWHEEL,) if machine.family == "crusher" else ()),
        *((FEEDER,) if machine.family in ("crusher", "screen") else ()),
        PRESSURE,
        KEY,
        *((BATTERY,) if machine.family == "work platform" else ()),
        LOCK,
        *((RUN_BACK,) if machine.family in ("conveyor", "screen") else ()),
        *((CHOCKS,) if wheels else ()),
        *((FRAME_LOCK,) if "ARTIC" in machine.cautions else ()),
        TRY,
    )


def isolation_steps(machine: MachineType, rules: WorkingRules) -> tuple[tuple[str, int], ...]:
    """(step, ms) in order; together exactly `isolation_ms`."""
    whole, steps = isolation_ms(machine, rules), _steps(machine)
    unit = whole / sum(weight for _, weight in steps)
    spent = [round(unit * weight) for _, weight in steps]
    spent[-1] += whole - sum(spent)
    return tuple((text, each) for (text, _), each in zip(steps, spent, strict=True))


def isolation_ms(machine: MachineType, rules: WorkingRules) -> int:
    """All of it, for one machine."""
    del machine  # the time of the rules is for every machine; its steps differ
    return ms(rules.isolation_s)
