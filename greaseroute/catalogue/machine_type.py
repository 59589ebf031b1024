"""What a machine type is: links, closed chains, postures, joints, look points, decks."""

from collections.abc import Hashable, Iterable, Mapping
from functools import cached_property
from typing import Any, Literal, Self, TypeVar

from pydantic import Field

from greaseroute.catalogue.attachment import Attachment, renamed
from greaseroute.catalogue.bodies import Body, bodies_of
from greaseroute.catalogue.coupling import Coupling
from greaseroute.catalogue.deck import Deck
from greaseroute.catalogue.joint import Joint, LookPoint, Service
from greaseroute.catalogue.link import Link
from greaseroute.catalogue.linkage import Cylinder, FourBar
from greaseroute.catalogue.posture import Posture
from greaseroute.errors import UnknownName
from greaseroute.records import Record

Family = Literal[
    "excavator",
    "loader",
    "backhoe loader",
    "dozer",
    "dumper",
    "grader",
    "roller",
    "landfill compactor",
    "scraper",
    # Not earth-moving machinery after ISO 6165, but on the same sites:
    "rough-terrain telescopic handler",
    "drill rig",
    "crusher",
    "screen",
    "washing plant",
    "conveyor",
    "material handler",
    "pipelayer",
    "trencher",
    "paver",
    "planer",
    "truck",
    "trailer",
    "agricultural tractor",
    "forestry machine",
    "forklift",
    "crane",
    "work platform",
]


CAUTION_KEYS = frozenset(
    {"STOP", "BLOCK", "NOMOVE", "LOTO", "ARM", "ARTIC", "INJECT", "NOPUMP", "TRACK", "CLIMB"}
    | {"HEIGHT", "TRAFFIC", "VIS", "PINCH", "HOT", "MIX", "SPILL", "ALONE"}
)


class MachineType(Record):
    """One machine type of the shelf or of a site; ``family`` is a word of ISO 6165 if it has one.

    ``origin`` says where the figures come from; ``cautions`` are keys of the caution list
    (STOP, ARTIC, ...). ``start_values``: the work that intervals and doses stand for as long as
    nobody confirmed them. Whether the parts fit together is told by ``type_checks.findings``.
    """

    name: str = Field(pattern=r"^[a-z0-9]+(-[a-z0-9.]+)*$")
    family: Family
    title: str
    origin: str
    operating_mass_kg: float = Field(ge=5.0, le=2_000_000.0)
    links: tuple[Link, ...] = Field(min_length=1, max_length=200)
    cylinders: tuple[Cylinder, ...] = ()
    four_bars: tuple[FourBar, ...] = ()
    postures: tuple[Posture, ...] = Field(min_length=1, max_length=50)
    joints: tuple[Joint, ...] = Field(max_length=150)
    looks: tuple[LookPoint, ...] = ()
    decks: tuple[Deck, ...] = ()
    couplings: tuple[Coupling, ...] = ()
    attachments: tuple[Attachment, ...] = ()
    cautions: tuple[str, ...] = ()
    start_values: Service = "normal"
    source_file: str = ""

    @cached_property
    def links_by_name(self) -> Mapping[str, Link]:
        """Every link by its name."""
        return {link.name: link for link in self.links}

    @cached_property
    def bodies(self) -> tuple[Body, ...]:
        """Every solid as arrays in the frame of its link. Raises ValueError for a flat solid."""
        return bodies_of(self.links)

    @cached_property
    def stances(self) -> dict[tuple[str, float], Any]:
        """Memory of ``stance_of``: the ``Stance`` worked out before, by posture and slew."""
        return {}

    @cached_property
    def swept(self) -> dict[tuple[str, str, Hashable], Any]:
        """Memory of ``path_between``: ground swept before, by both postures and the pose."""
        return {}

    @cached_property
    def fitted(self) -> "dict[tuple[str, ...], MachineType]":
        """Memory of ``with_attachments``: what was hung on before, by the names in order."""
        return {}

    @property
    def slew_link(self) -> Link | None:
        """The link that slews, if the machine has one."""
        return next((link for link in self.links if link.axis == "slew"), None)

    def below(self, link: str) -> frozenset[str]:
        """The link and all that hangs on it, by name."""
        found = {link}
        for _ in self.links:
            found |= {child.name for child in self.links if child.parent in found}
        return frozenset(found)

    def posture(self, name: str) -> Posture:
        """The posture of that name. Raises UnknownName."""
        return _named(self.postures, name, f"posture of {self.name}")

    def joint(self, name: str) -> Joint:
        """The joint of that name. Raises UnknownName."""
        return _named(self.joints, name, f"joint of {self.name}")

    def model_copy(self, *, update: Mapping[str, Any] | None = None, deep: bool = False) -> Self:
        """A changed copy, built anew: what this one has worked out and kept stays behind."""
        same = {field: getattr(self, field) for field in type(self).model_fields}
        return type(self).model_construct(**{**same, **(update or {})})

    def with_attachments(self, names: Iterable[str]) -> "MachineType":
        """This type with the named attachments hung on, in that order. Raises UnknownName.

        Asked again it gives the same machine, with all that has been worked out about it.
        """
        hung = tuple(names)
        if not hung:
            return self
        if hung not in self.fitted:
            machine: MachineType = self
            for name in hung:
                attachment = _named(self.attachments, name, f"attachment of {self.name}")
                machine = _hang_on(machine, attachment)
            self.fitted[hung] = machine
        return self.fitted[hung]


_M = TypeVar("_M", bound=MachineType)
_T = TypeVar("_T", Posture, Joint, Attachment)
_R = TypeVar("_R", Link, Cylinder, Joint, LookPoint, Posture)


def _named(records: tuple[_T, ...], name: str, what: str) -> _T:
    for record in records:
        if record.name == name:
            return record
    names = ", ".join(record.name for record in records) or "none"
    raise UnknownName(what, repr(name), limit=names, next_step="use one of these names")


def _overlaid(old: tuple[_R, ...], new: tuple[_R, ...]) -> tuple[_R, ...]:
    """The old records, those of a same name replaced where they stood, then the others."""
    fresh = {record.name: record for record in new}
    kept = tuple(fresh.pop(record.name, record) for record in old)
    return kept + tuple(record for record in new if record.name in fresh)


def _hang_on(machine: _M, attachment: Attachment) -> _M:
    names, gone = attachment.takes_place_of, set(attachment.drops)
    links = tuple(renamed(link, names) for link in machine.links if link.name not in names)
    old = {
        field: tuple(renamed(r, names) for r in getattr(machine, field) if r.name not in gone)
        for field in ("cylinders", "joints", "looks", "postures", "four_bars", "decks")
    }
    new = {
        "links": _overlaid(links, attachment.links),
        "cylinders": _overlaid(old["cylinders"], attachment.cylinders),
        "joints": _overlaid(old["joints"], attachment.joints),
        "looks": _overlaid(old["looks"], attachment.looks),
        "postures": _overlaid(old["postures"], _posed(old["postures"], attachment.postures)),
        "four_bars": old["four_bars"],
        "decks": old["decks"],
        "cautions": tuple(dict.fromkeys(machine.cautions + attachment.cautions)),
    }
    return machine.model_copy(update=new)


def _posed(old: tuple[Posture, ...], new: tuple[Posture, ...]) -> tuple[Posture, ...]:
    """New postures with their angles laid over those of the old posture of the same name."""
    before = {posture.name: posture for posture in old}
    merged = []
    for posture in new:
        under = before.get(posture.name, posture)
        changes = {
            "angles_deg": {**under.angles_deg, **posture.angles_deg},
            "lengths_m": {**under.lengths_m, **posture.lengths_m},
            "supported": (*under.supported, *posture.supported),
            "title": posture.title or under.title,
        }
        merged.append(posture.model_copy(update=changes))
    return tuple(merged)
