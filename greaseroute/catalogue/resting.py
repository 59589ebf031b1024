"""Which links hang on oil alone in a posture."""

from collections.abc import Iterable

from greaseroute.catalogue.bodies import Body
from greaseroute.catalogue.machine_type import MachineType

GROUND_TOUCH_M = 0.05  # a lip this close to the ground rests on it; our setting


def links_on_oil(
    machine_type: MachineType, bodies: Iterable[Body], *, supported: Iterable[str]
) -> frozenset[str]:
    """Links that would come down if their oil were lost.

    A link marked ``on_oil`` and all that hangs on it (boom, arm and bucket) rest as soon as one of
    them touches the ground or is mechanically supported. ``bodies`` are in the machine's frame.
    """
    resting = set(supported)
    resting |= {b.link for b in bodies if b.bottom_m <= GROUND_TOUCH_M}
    hanging: set[str] = set()
    for group in _groups(machine_type):
        if not group & resting:
            hanging |= group
    return frozenset(hanging)


def _groups(machine_type: MachineType) -> list[frozenset[str]]:
    """Each topmost link marked ``on_oil`` with all that hangs on it."""
    marked = [link.name for link in machine_type.links if link.on_oil]
    groups = [machine_type.below(name) for name in marked]
    return [group for group in groups if not any(group < other for other in groups)]
