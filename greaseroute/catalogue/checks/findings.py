"""Whether the parts of a machine type fit together, with and without its attachments."""

from greaseroute.catalogue.checks.names import name_findings
from greaseroute.catalogue.checks.shapes import shape_findings
from greaseroute.catalogue.machine_type import MachineType
from greaseroute.texts.finding import Finding


def findings(machine: MachineType) -> tuple[Finding, ...]:
    """Every mistake in a machine type; shapes are looked at only where the names are sound.

    Each attachment is hung on by itself; what is wrong only then is told of the attachment.
    """
    found = _of_one(machine)
    if found:
        return found
    for k, attachment in enumerate(machine.attachments):
        stray = sorted(set(attachment.takes_place_of) - {link.name for link in machine.links})
        for name in stray:
            path = ("attachments", k, "takes_place_of")
            found += (Finding(path, name, "links of this type", "mend the name"),)
        hung = _of_one(machine.with_attachments([attachment.name]))
        found += tuple(_told_of(finding, k) for finding in hung)
    return found


def _of_one(machine: MachineType) -> tuple[Finding, ...]:
    return tuple(name_findings(machine)) or tuple(shape_findings(machine))


def _told_of(finding: Finding, attachment: int) -> Finding:
    where = ".".join(str(part) for part in finding.path)
    value = f"{finding.value} (with it hung on, at {where})"
    return Finding(("attachments", attachment), value, finding.allowed, finding.do)
