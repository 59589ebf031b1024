"""What an audit starts from: the raw site, the plan, and what was asked for."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from functools import cached_property
from zoneinfo import ZoneInfo

from greaseroute.audit.moments import Clock, shift_begins
from greaseroute.catalogue.machine_type import MachineType
from greaseroute.plan.round import FittingTask, RoundPlan, StandVisit, Stop, TechnicianPlan
from greaseroute.site.crew import Grease, Gun, Technician
from greaseroute.site.fleet import Unit
from greaseroute.site.ground_plan import Place
from greaseroute.site.lonlat import middle_lonlat
from greaseroute.site.model import Site

UnitJoint = tuple[str, str]


@dataclass(frozen=True, slots=True)
class UnderWay:
    """A round under way, of which the plan is the rest.

    ``begun`` is the site as the round began, ``began`` that moment; ``booked`` and ``gone`` are
    joints done and units that left, ``booked_fittings`` single fittings done; ``blocked`` what
    takes no grease, by (unit, joint, fitting) with an empty fitting for a whole joint.
    """

    begun: Site
    began: datetime
    booked: frozenset[UnitJoint] = frozenset()
    booked_fittings: frozenset[tuple[str, str, str]] = frozenset()
    gone: frozenset[str] = frozenset()
    blocked: frozenset[tuple[str, str, str]] = frozenset()


@dataclass(frozen=True, slots=True)
class Asked:
    """What was asked for, where it is not all that is due until the next start of the shift.

    ``work``: these joints instead of what is due. ``finish_by``: an end instead of the shift.
    ``technicians``: those who walk, by name.
    """

    work: frozenset[UnitJoint] | None = None
    finish_by: datetime | None = None
    technicians: tuple[str, ...] | None = None
    under_way: UnderWay | None = None


@dataclass(frozen=True, slots=True)
class Task:
    """One fitting pumped, with where and by whom: numbers of technician, stop and stand."""

    technician: int
    stop: int
    stand: int
    at: StandVisit
    unit: str
    task: FittingTask


@dataclass(frozen=True, eq=False)
class Basis:
    """The raw site and the plan, with what is looked up in both again and again."""

    site: Site
    plan: RoundPlan
    asked: Asked = field(default_factory=Asked)

    @cached_property
    def clock(self) -> Clock:
        """The clock of the morning: zero is the moment planned for."""
        zone = ZoneInfo(self.site.time_zone)
        return Clock(datetime.fromisoformat(self.plan.at).astimezone(zone), zone)

    @cached_property
    def lonlat(self) -> tuple[float, float] | None:
        """Where the middle of the site lies on the earth, where anybody said so, degrees."""
        return middle_lonlat(self.site)

    @cached_property
    def end_ms(self) -> int:
        """When all must be done: the end asked for, else the next start of the shift."""
        asked = self.asked.finish_by
        if asked is None and self.asked.under_way is not None:
            under_way = self.asked.under_way
            began = Clock(under_way.began.astimezone(self.clock.zone), self.clock.zone)
            asked = shift_begins(began, self.site.shift_start)
        return self.clock.ms(asked or shift_begins(self.clock, self.site.shift_start))

    @cached_property
    def last_ms(self) -> int:
        """The latest moment that the plan speaks of, or the end if that is later."""
        ends = [self.clock.of_text(t.finish) for t in self.plan.technicians]
        return max(self.end_ms, *ends) if ends else self.end_ms

    @cached_property
    def units(self) -> Mapping[str, Unit]:
        """Units by fleet number."""
        return {unit.unit: unit for unit in self.site.units}

    @cached_property
    def guns(self) -> Mapping[str, Gun]:
        """Guns by name."""
        return {gun.name: gun for gun in self.site.guns}

    @cached_property
    def greases(self) -> Mapping[str, Grease]:
        """Greases by name."""
        return {grease.name: grease for grease in self.site.greases}

    @cached_property
    def crew(self) -> Mapping[str, Technician]:
        """Technicians by name."""
        return {technician.name: technician for technician in self.site.technicians}

    @cached_property
    def places(self) -> Mapping[str, Place]:
        """Places by name."""
        return {place.name: place for place in self.site.ground.places}

    @cached_property
    def types(self) -> Mapping[str, MachineType]:
        """The machine type of each unit, with the attachments it carries."""
        return {unit.unit: self.site.machine(unit) for unit in self.site.units}

    @cached_property
    def walkers(self) -> tuple[Technician | None, ...]:
        """The technician of each walk in the plan; None for a name that the site does not have."""
        return tuple(self.crew.get(t.name) for t in self.plan.technicians)

    def stops(self) -> Iterator[tuple[TechnicianPlan, int, Stop]]:
        """Every stop with its technician and its number in that walk."""
        for technician in self.plan.technicians:
            for number, stop in enumerate(technician.stops):
                yield technician, number, stop

    @cached_property
    def tasks(self) -> tuple[Task, ...]:
        """Every fitting pumped, in the order of the plan."""
        return tuple(
            Task(t, s, v, stand, stop.unit, task)
            for t, technician in enumerate(self.plan.technicians)
            for s, stop in enumerate(technician.stops)
            for v, stand in enumerate(stop.stands)
            for task in stand.fittings
        )

    def speed_m_s(self, technician: Technician) -> float:
        """Walking speed on plain level ground: the own one, else the site's."""
        return technician.speed_m_s or self.site.rules.walking_speed_m_s
