"""What has been read of a folder so far, good or not: what the checks look at."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from datetime import datetime

from greaseroute.catalogue.attachment_type import AttachmentType
from greaseroute.catalogue.kinematics.placed import PlacedMachine
from greaseroute.catalogue.machine_type import MachineType
from greaseroute.site.files.settings import Settings
from greaseroute.site.fleet import LastService, MeterReading, Unit
from greaseroute.site.geodesy import LocalPlane
from greaseroute.site.ground_plan import GroundPlan
from greaseroute.texts.toml_text import TomlText

SITE, GROUND, FLEET = "site.toml", "ground.geojson", "fleet.csv"
SERVICES, READINGS = "last_services.csv", "meter_readings.csv"
RECORD = "record.sqlite"


@dataclass(frozen=True)
class OwnType:
    """One of the site's own machine types: its file and text, and the type if it is good."""

    file: str
    text: TomlText
    machine_type: MachineType | None


@dataclass(frozen=True)
class Draft:
    """A site folder as far as it could be read.

    ``unit_rows`` names every row of the fleet, also those with mistakes; None where the file
    could not be read, so that nobody is blamed for naming a unit that it may hold. ``types`` are
    the good types in use (and the site's own) by name, ``broken_types`` the names of own types
    with faults. ``unread`` holds the first words of the features that could not be read: their
    roles, or ``feature`` where the role itself is unknown; ``unread_places`` the names of such
    places. ``attachments`` are those that any carrier can take, the site's own over the shelf's.
    ``fitted`` holds each unit's type with its attachments, ``placed`` each unit that could be
    placed. ``recorded``: the folder holds a record of its own. ``now`` is the moment against
    which the future is told from the past, None where nothing gives one.
    """

    settings: Settings
    plane: LocalPlane | None = None
    ground: GroundPlan | None = None
    own_types: tuple[OwnType, ...] = ()
    types: Mapping[str, MachineType] = field(default_factory=dict)
    attachments: Mapping[str, AttachmentType] = field(default_factory=dict)
    broken_types: frozenset[str] = frozenset()
    unread: frozenset[str] = frozenset()
    unread_places: tuple[str, ...] = ()
    units: tuple[Unit, ...] = ()
    unit_rows: tuple[str, ...] | None = None
    fitted: Mapping[str, MachineType] = field(default_factory=dict)
    placed: Mapping[str, PlacedMachine] = field(default_factory=dict)
    services: tuple[LastService, ...] = ()
    readings: tuple[MeterReading, ...] = ()
    now: datetime | None = None
    recorded: bool = False

    def all_read(self, role: str) -> bool:
        """Whether every feature of a role could be read, so that a missing one is truly missing."""
        return not {role, "feature"} & self.unread

    def standing(self) -> Iterator[tuple[Unit, PlacedMachine]]:
        """Every unit that could be placed, in fleet order; of units of one name the first."""
        seen: set[str] = set()
        for unit in self.units:
            if unit.unit in self.placed and unit.unit not in seen:
                seen.add(unit.unit)
                yield unit, self.placed[unit.unit]
