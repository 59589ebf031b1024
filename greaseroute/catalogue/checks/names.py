"""Names in a machine type: each once, each mention of something that is there."""

from collections.abc import Callable, Iterable, Iterator, Sequence

from greaseroute.catalogue.grease_code import NLGI, parse_code
from greaseroute.catalogue.joint import GreaseWant, LookPoint
from greaseroute.catalogue.link import Link
from greaseroute.catalogue.machine_type import CAUTION_KEYS, MachineType
from greaseroute.texts.finding import Finding
from greaseroute.texts.toml_places import KeyPath

NEEDED_POSTURES = ("parked", "greasing")
_NAMED = (
    *("links", "cylinders", "four_bars", "postures", "joints", "looks", "decks"),
    *("couplings", "attachments"),
)


def name_findings(machine: MachineType) -> Iterator[Finding]:
    """Every name given twice or mentioned without being there."""
    for check in (_doubled, _tree, _link_mentions, _angle_mentions, _posture_mentions, _four_bars):
        yield from check(machine)
    for path, key in _caution_keys(machine):
        yield from _missing(path, key, CAUTION_KEYS, what="a caution key")
    yield from unspaced(machine.looks)
    yield from _procedures(machine)
    for i, joint in enumerate(machine.joints):
        yield from _grease(("joints", i, "grease"), joint.grease)


def unspaced(looks: Sequence[LookPoint]) -> Iterator[Finding]:
    """Checks of a file that do not say how often they are due."""
    for i, look in enumerate(looks):
        if "interval" not in look.model_fields_set:
            allowed = "hours, days or every_shift"
            do = "add how often the check is due"
            yield Finding(("looks", i, "interval"), "missing", allowed, do)


PROCEDURES: dict[str, tuple[str, Callable[[Link], bool]]] = {
    "slew": ("a link that slews", lambda link: link.axis == "slew"),
    "turn shaft": ("a shaft or what else turns without end", lambda link: link.spins),
    "full lock": ("a link that steers", lambda link: link.axis == "steer"),
}
"""What one of the two links of a joint must be for a procedure to mean something there."""


def _procedures(machine: MachineType) -> Iterator[Finding]:
    """Procedures on joints that have none of the links it is about."""
    for i, joint in enumerate(machine.joints):
        kind = joint.procedure.kind if joint.procedure else ""
        if kind not in PROCEDURES:
            continue
        what, fits = PROCEDURES[kind]
        known = [link for link in machine.links if link.name in joint.links]
        if known and not any(map(fits, known)):
            value = f"{kind}, between {' and '.join(joint.links)}"
            allowed = f"{kind} on a joint with {what}"
            do = "give another kind of procedure or correct the links"
            yield Finding(("joints", i, "procedure", "kind"), value, allowed, do)


def _missing(path: KeyPath, name: str, known: Iterable[str], *, what: str) -> Iterator[Finding]:
    known = sorted(known)
    if name not in known:
        allowed = f"{what}: {', '.join(known)}" if known else f"{what}, and there is none"
        yield Finding(path, name, allowed, "mend the name or add what it names")


def _doubled(machine: MachineType) -> Iterator[Finding]:
    for field in _NAMED:
        seen: set[str] = set()
        for i, record in enumerate(getattr(machine, field)):
            if record.name in seen:
                yield Finding((field, i, "name"), record.name, "each name once", "rename one")
            seen.add(record.name)


def _tree(machine: MachineType) -> Iterator[Finding]:
    above: list[str] = []
    slewing = [link.name for link in machine.links if link.axis == "slew"]
    for i, link in enumerate(machine.links):
        if i == 0 and link.parent is not None:
            yield Finding(
                ("links", 0, "parent"), link.parent, "none", "the first link has no parent"
            )
        if i > 0 and link.parent is None:
            allowed = "the link it hangs on"
            yield Finding(("links", i, "parent"), "missing", allowed, "add the parent")
        elif i > 0 and link.parent is not None:
            yield from _missing(
                ("links", i, "parent"), link.parent, above, what="a link listed above"
            )
        if link.axis == "slew" and link.name != slewing[0]:
            yield Finding(("links", i, "axis"), "slew", "one slewing link", "use steer for others")
        above.append(link.name)


def _link_mentions(machine: MachineType) -> Iterator[Finding]:
    links = {link.name for link in machine.links}
    for path, name in _mentions(machine):
        yield from _missing(path, name, links, what="a link")
    # A pin joint may join a link and a cylinder.
    ends = links | {cylinder.name for cylinder in machine.cylinders}
    for i, joint in enumerate(machine.joints):
        for k, name in enumerate(joint.links):
            yield from _missing(("joints", i, "links", k), name, ends, what="a link or a cylinder")


def _mentions(machine: MachineType) -> Iterator[tuple[KeyPath, str]]:
    for i, cylinder in enumerate(machine.cylinders):
        yield ("cylinders", i, "head_link"), cylinder.head_link
        yield ("cylinders", i, "rod_link"), cylinder.rod_link
    for i, bar in enumerate(machine.four_bars):
        for part in ("ground", "crank", "coupler", "rocker"):
            yield ("four_bars", i, part), getattr(bar, part)
    for i, joint in enumerate(machine.joints):
        for k, fitting in enumerate(joint.fittings):
            yield ("joints", i, "fittings", k, "link"), fitting.link
            if fitting.feeds is not None:
                yield ("joints", i, "fittings", k, "feeds"), fitting.feeds
    for field in ("looks", "decks"):
        for i, record in enumerate(getattr(machine, field)):
            yield (field, i, "link"), record.link
    for i, coupling in enumerate(machine.couplings):
        yield ("couplings", i, "replaces"), coupling.replaces


def _angle_mentions(machine: MachineType) -> Iterator[Finding]:
    turning = {link.name for link in machine.links if link.axis != "fixed"}
    cylinders = {cylinder.name for cylinder in machine.cylinders}
    links = {link.name for link in machine.links}
    for i, posture in enumerate(machine.postures):
        for name in posture.angles_deg:
            path = ("postures", i, "angles_deg", name)
            yield from _missing(path, name, turning, what="a link that turns")
        for name in posture.lengths_m:
            yield from _missing(
                ("postures", i, "lengths_m", name), name, cylinders, what="a cylinder"
            )
        for k, name in enumerate(posture.supported):
            yield from _missing(("postures", i, "supported", k), name, links, what="a link")


def _posture_mentions(machine: MachineType) -> Iterator[Finding]:
    postures = {posture.name for posture in machine.postures}
    for name in NEEDED_POSTURES:
        if name not in postures:
            allowed = "postures parked and greasing at least"
            yield Finding(("postures",), f"no posture {name!r}", allowed, "add it")
    for i, joint in enumerate(machine.joints):
        for k, name in enumerate(joint.postures):
            yield from _missing(("joints", i, "postures", k), name, postures, what="a posture")
    for i, look in enumerate(machine.looks):
        if look.posture is not None:
            yield from _missing(("looks", i, "posture"), look.posture, postures, what="a posture")


def _four_bars(machine: MachineType) -> Iterator[Finding]:
    links = machine.links_by_name
    for i, bar in enumerate(machine.four_bars):
        for part, parent in (("crank", bar.ground), ("rocker", bar.ground), ("coupler", bar.crank)):
            link = links.get(getattr(bar, part))
            if link is not None and (link.parent, link.axis) != (parent, "pitch"):
                found = f"{link.name} hangs on {link.parent}, axis {link.axis}"
                allowed = f"a child of {parent} that pitches"
                yield Finding(("four_bars", i, part), found, allowed, "mend the link or the name")


def _caution_keys(machine: MachineType) -> Iterator[tuple[KeyPath, str]]:
    for k, key in enumerate(machine.cautions):
        yield ("cautions", k), key
    for i, joint in enumerate(machine.joints):
        for k, key in enumerate(joint.cautions):
            yield ("joints", i, "cautions", k), key


def _grease(path: KeyPath, want: GreaseWant) -> Iterator[Finding]:
    if want.code is not None and parse_code(want.code) is None:
        allowed = "a code after DIN 51825 such as KP2K-30, or after ISO 6743-9 such as L-XCCIB2"
        yield Finding(
            (*path, "code"), want.code, allowed, "mend the code or give nlgi and thickener"
        )
    for k, grade in enumerate(want.nlgi):
        yield from _missing((*path, "nlgi", k), grade, NLGI, what="an NLGI number")
