"""Start values: intervals and doses of shelf types that nobody has confirmed for this site."""

from collections.abc import Iterable, Iterator, Mapping

from greaseroute.catalogue.confirmation import unconfirmed
from greaseroute.catalogue.machine_type import MachineType
from greaseroute.errors import Fault
from greaseroute.site.files.draft import FLEET, Draft
from greaseroute.site.fleet import Unit

TYPES = "types/"  # where a site keeps its own types
NAMED = 3  # joints named in a line; the others are counted


def start_value_faults(draft: Draft) -> Iterator[Fault]:
    """Types in use with unconfirmed values, once each, where the site forbids those."""
    head = draft.settings.site
    if head is None or head.rules.start_values != "forbidden":
        return
    for unit, joints in unconfirmed_types(draft.units, draft.types):
        named = ", ".join(joints[:NAMED])
        more = f" and {len(joints) - NAMED} more" if len(joints) > NAMED else ""
        yield Fault(
            FLEET,
            unit.line,
            f"unit {unit.unit}",
            "type",
            f"{unit.type}: start values of {named}{more}",
            "confirmed values (rules.start_values = 'forbidden')",
            f"confirm them in types/*.toml with confirms = '{unit.type}'",
        )


def unconfirmed_types(
    units: Iterable[Unit], types: Mapping[str, MachineType]
) -> Iterator[tuple[Unit, tuple[str, ...]]]:
    """The first unit of each shelf type with unconfirmed values, and the joints they are of.

    The values of a site's own types are its own word.
    """
    seen = {name for name, machine in types.items() if machine.source_file.startswith(TYPES)}
    for unit in units:
        machine = types.get(unit.type)
        if machine is not None and unit.type not in seen:
            seen.add(unit.type)
            joints = unconfirmed(machine)
            if joints:
                yield unit, joints
