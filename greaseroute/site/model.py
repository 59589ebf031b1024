"""A whole site in memory: what every later stage reads."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime

from greaseroute.catalogue.machine_type import MachineType
from greaseroute.site.anchor import Anchor
from greaseroute.site.crew import Grease, Gun, Severity, Technician, WorkingRules
from greaseroute.site.fleet import LastService, MeterReading, Unit
from greaseroute.site.ground_plan import GroundPlan
from greaseroute.site.past import Past
from greaseroute.site.people import Person, second_person
from greaseroute.site.work_days import EVERY_DAY, WorkDays
from greaseroute.texts.language import DEFAULT, Language, language

NOTHING_RECORDED = Past()


@dataclass(frozen=True)
class Site:
    """One site folder, read and found good.

    ``types`` holds each machine type in use by name, ``machines`` each with the attachments of
    its units, by type and attachments: ask ``machine``. ``origin_lonlat`` is the origin of the
    local plane where the plan came in lon/lat, else None; ``anchor`` says where a site in local
    metres lies on the earth, where it says so. ``shift_start`` and ``round_start``
    are local times of day ``HH:MM``; at which date is decided by the moment planned for. ``past``
    is what the record tells beside services and readings, where the folder has one.
    ``work_days`` are those on which machines work and rounds are walked. ``language``
    is the code (ISO 639-1) of the language in which people read what is handed out. ``people``
    are those who may be called to a machine.
    """

    name: str
    time_zone: str
    coordinates: str
    shift_start: str
    round_start: str
    rules: WorkingRules
    greases: tuple[Grease, ...]
    guns: tuple[Gun, ...]
    technicians: tuple[Technician, ...]
    severities: tuple[Severity, ...]
    ground: GroundPlan
    units: tuple[Unit, ...]
    types: Mapping[str, MachineType]
    machines: Mapping[tuple[str, tuple[str, ...]], MachineType] = field(default_factory=dict)
    last_services: tuple[LastService, ...] = ()
    meter_readings: tuple[MeterReading, ...] = ()
    origin_lonlat: tuple[float, float] | None = None
    anchor: Anchor | None = None
    planned_for: datetime | None = None
    past: Past = NOTHING_RECORDED
    work_days: WorkDays = EVERY_DAY
    emergency_number: str = ""
    language: str = DEFAULT
    people: tuple[Person, ...] = ()

    @property
    def say(self) -> Language:
        """The language of what is handed out for this site."""
        return language(self.language)

    def machine(self, unit: Unit) -> MachineType:
        """What a unit is: its type with its attachments hung on. Raises UnknownName."""
        known = self.machines.get((unit.type, unit.attachments))
        return known or self.types[unit.type].with_attachments(unit.attachments)

    @property
    def at_hand(self) -> tuple[Person, ...]:
        """Everybody who may be called to a machine, the second person of the rules included."""
        return (*self.people, *second_person(self.rules))
