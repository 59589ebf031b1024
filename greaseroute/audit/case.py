"""One case for the audit: site and plan with machines, ground and walks, and the timeline."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cached_property

from greaseroute.audit.basis import Basis, Task
from greaseroute.audit.due import Owed, Verdicts, owed
from greaseroute.audit.finding import Where
from greaseroute.audit.ground import Ground
from greaseroute.audit.machines import Machines
from greaseroute.audit.tracks import Point2, Track, Walked
from greaseroute.audit.visits import Visit, feet_on, heights_at, inside_tracks
from greaseroute.catalogue.joint import Joint
from greaseroute.plan.round import Stop
from greaseroute.units import MS_PER_S

TrackKey = tuple[int, int, int]


@dataclass(frozen=True, slots=True)
class Leg:
    """A leg between two stops (or start and finish) with when it was set off on and its end.

    ``track`` is its number among the tracks; ``goal`` what it leads to.
    """

    technician: int
    stop: int
    track: int
    from_ms: int
    to_ms: int
    goal: str

    @property
    def span_ms(self) -> int:
        """The time there is for it."""
        return self.to_ms - self.from_ms


@dataclass(frozen=True, slots=True)
class Event:
    """While one is at a stand: the machine ``moves``, or a procedure of ``joint`` is done."""

    begin_ms: float
    end_ms: float
    joint: str
    moves: bool
    needs_second: bool


@dataclass(frozen=True, slots=True)
class Standing:
    """A time at one place of a visit: the foot of stand ``number``, from when to when, ms."""

    technician: int
    stop: int
    number: int
    foot_m: Point2
    begin_ms: float
    end_ms: float
    events: tuple[Event, ...] = ()


def _asked_for(asked: bool, verdicts: Mapping[str, Owed]) -> Mapping[str, Owed]:
    """Verdicts on a joint that was asked for or not: of one that is, what is not due may wait."""
    if not asked:
        return dict.fromkeys(verdicts, Owed(False, "not asked for"))
    due = any(verdict.due for verdict in verdicts.values())
    return {
        name: Owed(None if due and not verdict.due else True, "asked for")
        for name, verdict in verdicts.items()
    }


@dataclass(frozen=True, eq=False)
class Case:
    """Site and plan, and everything that several promises ask for."""

    basis: Basis

    @cached_property
    def machines(self) -> Machines:
        """Machines where they stand."""
        return Machines(self.basis)

    @cached_property
    def ground(self) -> Ground:
        """What nobody walks on."""
        return Ground(self.basis, self.machines)

    @cached_property
    def walked(self) -> Walked:
        """Everything that is walked."""
        return Walked(self.basis, self.ground, tuple(self._tracks()))

    @cached_property
    def track_numbers(self) -> Mapping[TrackKey, int]:
        """The number of a track by technician, stop and stand (-1: the leg to the stop)."""
        return {(t.technician, t.stop, t.stand): k for k, t in enumerate(self.walked.tracks)}

    @cached_property
    def feet(self) -> Mapping[tuple[int, int], tuple[int | None, ...]]:
        """For each visit the vertices of ``inside`` at its stands."""
        return {
            (t, s): tuple(feet_on(self.machines, stop))
            for t, s, stop in self._numbered()
            if not stop.reload
        }

    def _numbered(self) -> Iterator[tuple[int, int, Stop]]:
        for t, technician in enumerate(self.basis.plan.technicians):
            for s, stop in enumerate(technician.stops):
                yield t, s, stop

    def _tracks(self) -> Iterator[Track]:
        for t, technician in enumerate(self.basis.plan.technicians):
            for s, stop in enumerate(technician.stops):
                yield Track(t, s, -1, stop.path)
                if not stop.reload:
                    yield from inside_tracks(t, s, stop, feet=self.feet[t, s])
            yield Track(t, len(technician.stops), -1, self.home(t))

    def line_s(self, technician: int, line: tuple[Point2, ...]) -> float:
        """How long a technician walks along a line that is not of the plan, seconds."""
        track = (Track(technician, 0, -1, line),)
        return float(Walked(self.basis, self.ground, track).walk_s[0])

    def home(self, number: int) -> tuple[Point2, ...]:
        """The way home of a technician: what the whole path holds beyond its stops."""
        technician = self.basis.plan.technicians[number]
        walked: list[Point2] = []
        for stop in technician.stops:
            for line in (stop.path, stop.inside):
                walked += [p for k, p in enumerate(line) if k or not walked or p != walked[-1]]
        return technician.path[max(0, len(walked) - 1) :]

    @cached_property
    def visits(self) -> Mapping[tuple[int, int], Visit]:
        """Every stop at a known unit by a known technician."""
        found = {}
        for t, s, stop in self._numbered():
            walker = self.basis.walkers[t]
            if walker is not None and not stop.reload and stop.unit in self.basis.units:
                found[t, s] = Visit(self.basis, walker, stop)
        return found

    @cached_property
    def legs(self) -> tuple[Leg, ...]:
        """Every leg of every technician in order, the way home last."""
        found = []
        clock = self.basis.clock
        for t, technician in enumerate(self.basis.plan.technicians):
            since = clock.of_text(technician.start)
            for s, stop in enumerate(technician.stops):
                track = self.track_numbers[t, s, -1]
                found.append(Leg(t, s, track, since, clock.of_text(stop.arrive), stop.unit))
                since = clock.of_text(stop.leave)
            last = len(technician.stops)
            track, end = self.track_numbers[t, last, -1], clock.of_text(technician.finish)
            found.append(Leg(t, last, track, since, end, technician.finish_place or "the finish"))
        return tuple(found)

    @cached_property
    def owed(self) -> Verdicts:
        """What is owed of every fitting of every joint, or what was asked for instead."""
        under_way, work = self.basis.asked.under_way, self.basis.asked.work
        site = self.basis.site if under_way is None else under_way.begun
        found = owed(site, self.basis.clock.zero if under_way is None else under_way.began)
        if work is not None:
            return {key: _asked_for(key in work, each) for key, each in found.items()}
        if under_way is None:
            return found
        done = Owed(False, "booked as done")
        whole, single = under_way.booked, under_way.booked_fittings
        return {
            key: {
                name: done if key in whole or (*key, name) in single else verdict
                for name, verdict in each.items()
            }
            for key, each in found.items()
        }

    def walk_ms(self, track: int) -> float:
        """Walking time of a track, waits at crossings included."""
        return float(self.walked.walk_s[track]) * MS_PER_S

    def heights_m(self, visit: Visit, number: int) -> dict[tuple[str, str], float]:
        """Heights of the unit's fittings in the posture of a stand."""
        return heights_at(self.machines, visit.stop, visit.stop.stands[number].posture)

    def joint(self, unit: str, name: str) -> Joint | None:
        """A joint of a unit by name; None where there is none."""
        machine = self.basis.types.get(unit)
        joints = () if machine is None else machine.joints
        return next((joint for joint in joints if joint.name == name), None)

    def where_task(self, each: Task) -> Where:
        """Where a fitting is pumped, for a finding."""
        name = self.basis.plan.technicians[each.technician].name
        return Where(name, each.unit, each.task.joint, each.task.fitting)

    def where_leg(self, leg: Leg, *, place_m: Point2 | None = None) -> Where:
        """Where a leg is, for a finding: whose it is, what it leads to, when it ends."""
        technician = self.basis.plan.technicians[leg.technician]
        stops = technician.stops
        unit = stops[leg.stop].unit if leg.stop < len(stops) else ""
        return Where(technician.name, unit, at=self.basis.clock.text(leg.to_ms), place_m=place_m)

    def where_standing(self, standing: Standing) -> Where:
        """Where somebody stands, for a finding."""
        technician = self.basis.plan.technicians[standing.technician]
        at = self.basis.clock.text(standing.begin_ms)
        unit = technician.stops[standing.stop].unit
        return Where(technician.name, unit, at=at, place_m=standing.foot_m)

    @cached_property
    def standings(self) -> tuple[Standing, ...]:
        """Where each technician is during every visit, by the promises' own times."""
        return tuple(s for key in self.visits for s in self._standings_of(*key))

    def _standings_of(self, t: int, s: int) -> Iterator[Standing]:
        visit, feet = self.visits[t, s], self.feet[t, s]
        stop = visit.stop
        now: float = self.basis.clock.of_text(stop.arrive)
        for number, foot in enumerate(feet):
            track = self.track_numbers.get((t, s, number))
            now += self.walk_ms(track) if track is not None and number else 0.0
            begin = now
            if number == 0:
                now += (stop.wait_s + visit.first_s()) * MS_PER_S
            events = tuple(self._events(visit, number, now))
            now += visit.stand_s(number, self.heights_m(visit, number)) * MS_PER_S
            if foot is not None:
                yield Standing(t, s, number, stop.inside[foot], begin, now, events)

    def _events(self, visit: Visit, number: int, now: float) -> Iterator[Event]:
        """What moves, or takes a second person, while one is at a stand from ``now`` on."""
        stand = visit.stop.stands[number]
        if stand.event:
            second = stand.event == "posture" or visit.needs_second(stand.event_joint)
            until = now + visit.person_s(number) * MS_PER_S
            yield Event(now, until, stand.event_joint, True, second)
        if visit.procedure_s(number):
            begin = now + visit.stand_s(number, self.heights_m(visit, number)) * MS_PER_S
            begin -= (visit.procedure_s(number) + visit.down_s(number)) * MS_PER_S
            for at, name, spent_s in visit.procedures_s():
                end = begin + spent_s * MS_PER_S
                if at == number:
                    if visit.needs_second(name):
                        yield Event(begin, end, name, False, True)
                    begin = end
