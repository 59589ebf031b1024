"""How a unit is isolated before anybody touches it: the steps in order and the time they take."""

from greaseroute.catalogue.machine_type import MachineType
from greaseroute.site.crew import WorkingRules
from greaseroute.units import ms

# Share of the time of the rules that each step takes; common practice, no source.
STEPS: tuple[tuple[str, float], ...] = (
    ("every implement down on the ground", 0.15),
    ("brake set, engine off", 0.10),
    ("pressure let off: each lever through all its positions", 0.15),
    ("key out, isolator off", 0.15),
    ("your own lock and tag on it", 0.25),
    ("try to start it: it must not", 0.20),
)


def isolation_steps(machine: MachineType, rules: WorkingRules) -> tuple[tuple[str, int], ...]:
    """(step, ms) in order; together exactly `isolation_ms`."""
    whole = ms(rules.isolation_s)
    spent = [round(whole * share) for _, share in STEPS]
    spent[-1] += whole - sum(spent)
    return tuple((text, each) for (text, _), each in zip(STEPS, spent, strict=True))


def isolation_ms(machine: MachineType, rules: WorkingRules) -> int:
    """All of it, for one machine."""
    return sum(spent for _, spent in isolation_steps(machine, rules))
