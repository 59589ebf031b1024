"""How long each stand of a visit takes, re-derived: walking, climbs, events, fittings, looks."""

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from greaseroute.audit.basis import Basis
from greaseroute.audit.house_rules import FOOT_WITHIN_M, PLACE_M, TIGHT_M
from greaseroute.audit.machines import Machines
from greaseroute.audit.tracks import Point2, Track
from greaseroute.catalogue.joint import Joint
from greaseroute.plan.round import FittingTask, StandVisit, Stop
from greaseroute.site.crew import Technician
from greaseroute.site.reach import Reach
from greaseroute.units import S_PER_MIN

JointKey = tuple[str, str]


def band_of(height_m: float, reach: Reach) -> str | None:
    """The height band of a fitting so high above the feet; None where no band reaches it."""
    limits = {
        "kneel": reach.kneel_to_m,
        "stoop": reach.stoop_to_m,
        "stand": reach.stand_to_m,
        "overhead": reach.overhead_to_m,
    }
    return next((band for band, to_m in limits.items() if height_m <= to_m + TIGHT_M), None)


def band_s(band: str, reach: Reach) -> float:
    """What a band costs, down and up again; nothing for a word that is no band."""
    times = {"kneel": reach.kneel_s, "stoop": reach.stoop_s, "stand": reach.stand_s}
    return {**times, "overhead": reach.overhead_s}.get(band, 0.0)


def same_deck(before: StandVisit, stand: StandVisit) -> bool:
    """Whether one goes from one stand to the next without climbing down."""
    ends = (before.deck, before.posture), (stand.deck, stand.posture)
    return stand.deck is not None and ends[0] == ends[1] and not (before.event or stand.event)


@dataclass(frozen=True, slots=True)
class Visit:
    """One stop at a unit with who makes it; times are seconds, as the promises have them."""

    basis: Basis
    technician: Technician
    stop: Stop

    @property
    def reach(self) -> Reach:
        """Of the technician."""
        return self.technician.reach

    @property
    def joints(self) -> Mapping[str, Joint]:
        """Joints of the unit by name."""
        return {joint.name: joint for joint in self.basis.types[self.stop.unit].joints}

    def climbs_s(self, number: int) -> float:
        """Up to a stand on a deck and down from it, less what the stands beside it spare."""
        stands = self.stop.stands
        stand = stands[number]
        if stand.deck is None:
            return 0.0
        up = number == 0 or not same_deck(stands[number - 1], stand)
        down = number + 1 == len(stands) or not same_deck(stand, stands[number + 1])
        return (up + down) * stand.height_m / self.reach.climb_m_s

    def down_s(self, number: int) -> float:
        """The climb down from a stand's deck, where one comes down from it."""
        stand, stands = self.stop.stands[number], self.stop.stands
        stays = number + 1 < len(stands) and same_deck(stand, stands[number + 1])
        return 0.0 if stand.deck is None or stays else stand.height_m / self.reach.climb_m_s

    def across_s(self, number: int) -> float:
        """Walking on a deck from the stand before, straight."""
        if number == 0 or not same_deck(self.stop.stands[number - 1], self.stop.stands[number]):
            return 0.0
        before, stand = self.stop.stands[number - 1], self.stop.stands[number]
        way_m = math.hypot(stand.x_m - before.x_m, stand.y_m - before.y_m)
        return way_m / self.basis.speed_m_s(self.technician)

    @property
    def isolation_s(self) -> float:
        """To isolate the unit once."""
        return self.basis.site.rules.isolation_s

    @property
    def moved_first(self) -> bool:
        """Whether the unit is asked for a posture before anything is done at it."""
        return bool(self.stop.stands) and self.stop.stands[0].event == "posture"

    def first_s(self) -> float:
        """Isolation before the first stand: none where the unit is moved first of all."""
        return 0.0 if self.moved_first else self.isolation_s

    def person_s(self, number: int) -> float:
        """How long somebody is at the controls while one stands clear at a stand."""
        stand, rules = self.stop.stands[number], self.basis.site.rules
        unlock_s = 0.0 if number == 0 and self.moved_first else rules.unlock_s
        if stand.event == "posture":
            return unlock_s + rules.posture_move_min * S_PER_MIN
        joint = self.joints.get(stand.event_joint)
        if stand.event != "turn" or joint is None or joint.procedure is None:
            return 0.0
        return unlock_s + joint.procedure.minutes * S_PER_MIN

    def event_s(self, number: int) -> float:
        """All of a move while one stands clear: unlocked, moved, isolated again in full."""
        moved_s = self.person_s(number)
        return moved_s + self.isolation_s if moved_s else 0.0

    def fitting_s(self, task: FittingTask) -> float:
        """Coupling, strokes, the height band, cartridges put in before it."""
        gun = self.basis.guns.get(task.gun)
        if gun is None:
            return 0.0
        joint = self.joints.get(task.joint)
        share = 1.0 if joint is None else self.technician.pace.get(joint.kind, 1.0)
        pump_s = share * (self.reach.handling_s + task.strokes * gun.stroke_s)
        return pump_s + band_s(task.band, self.reach) + task.put_in * gun.change_s

    def again_s(self, stand: StandVisit, heights_m: Mapping[JointKey, float]) -> float:
        """The second pass at a stand: coupling and one stroke at each fitting, in its band."""
        pumped = {(f.joint, f.fitting): f.gun for s in self.stop.stands for f in s.fittings}
        total = 0.0
        for key in stand.again:
            gun = self.basis.guns.get(pumped.get(key, ""))
            band = band_of(heights_m.get(key, math.inf) - stand.height_m, self.reach)
            stroke_s = 0.0 if gun is None else gun.stroke_s
            total += self.reach.handling_s + stroke_s + band_s(band or "", self.reach)
        return total

    def bands_s(self, stand: StandVisit, heights_m: Mapping[JointKey, float]) -> float:
        """What the height bands of a stand cost, first and second pass together."""
        bands = [f.band for f in stand.fittings]
        bands += [
            band_of(heights_m.get(key, math.inf) - stand.height_m, self.reach) or ""
            for key in stand.again
        ]
        return sum(band_s(band, self.reach) for band in bands)

    def needs_second(self, joint: str) -> bool:
        """Whether the procedure of a joint takes somebody at the controls."""
        found = self.joints.get(joint)
        procedure = None if found is None else found.procedure
        return procedure is not None and procedure.second_person

    def turns(self, joint: str) -> bool:
        """Whether one stands clear while the machine is turned for a joint."""
        found = self.joints.get(joint)
        procedure = None if found is None else found.procedure
        return procedure is not None and procedure.stand_clear

    def procedures_s(self) -> list[tuple[int, str, float]]:
        """(stand, joint, s) of procedures without a turn, each after the last fitting of its joint.

        Where one moves the machine it is unlocked before and isolated again after: once for all
        procedures of one kind, at the first of them.
        """
        last = {f.joint: k for k, stand in enumerate(self.stop.stands) for f in stand.fittings}
        names = [joint.name for joint in self.basis.types[self.stop.unit].joints]
        found: list[tuple[int, str, float]] = []
        kinds: set[str] = set()
        for name in sorted(set(last) & set(names), key=lambda n: (last[n], names.index(n))):
            joint = self.joints.get(name)
            procedure = None if joint is None else joint.procedure
            if procedure is None or procedure.stand_clear:
                continue
            spent_s = procedure.minutes * S_PER_MIN
            if any(step.machine_moves for step in procedure.steps) and procedure.kind not in kinds:
                kinds.add(procedure.kind)
                spent_s += self.basis.site.rules.unlock_s + self.isolation_s
            found.append((last[name], name, spent_s))
        return found

    def procedure_s(self, number: int) -> float:
        """All procedures without a turn of the machine that follow the fittings of a stand."""
        return sum(spent_s for at, _, spent_s in self.procedures_s() if at == number)

    def before_s(self, number: int, heights_m: Mapping[JointKey, float]) -> float:
        """What is told to come before the first fitting of a stand: the climb up and down again,
        or the way along the deck that one is on already; the event; the second pass.
        """
        stands = self.stop.stands
        stand = stands[number]
        to_it_s = self.across_s(number)
        if stand.deck is not None and not (number and same_deck(stands[number - 1], stand)):
            to_it_s = 2 * stand.height_m / self.reach.climb_m_s
        return to_it_s + self.event_s(number) + self.again_s(stand, heights_m)

    def stand_s(self, number: int, heights_m: Mapping[JointKey, float]) -> float:
        """All the time from coming to the foot of a stand to going on from there."""
        stand = self.stop.stands[number]
        settle_s = 0.0 if stand.event else self.reach.settle_s
        return (
            self.climbs_s(number)
            + self.across_s(number)
            + self.event_s(number)
            + self.again_s(stand, heights_m)
            + settle_s
            + sum(self.fitting_s(task) for task in stand.fittings)
            + len(stand.looks) * self.basis.site.rules.look_s
            + self.procedure_s(number)
        )


def heights_at(machines: Machines, stop: Stop, posture: str) -> dict[JointKey, float]:
    """Heights of the fittings of a unit in a posture."""
    machine = machines.placed.get((stop.unit, posture))
    if machine is None:
        return {}
    return {(f.joint.name, f.fitting.name): f.at_m[2] for f in machine.fittings}


def feet_on(machines: Machines, stop: Stop) -> list[int | None]:
    """For each stand the vertex of ``inside`` at its foot, in order; None where there is none.

    The foot of a stand on the ground is the stand itself; that of a deck is the vertex nearest
    to the foot of its steps, before the next stand on the ground.
    """
    line = np.asarray(stop.inside, dtype=float).reshape(-1, 2)
    found: list[int | None] = []
    at = 0
    for number, stand in enumerate(stop.stands):
        if stand.deck is None:
            vertex = _vertex(line, (stand.x_m, stand.y_m), first=at)
        else:
            vertex = _foot(machines, stop, line=line, number=number, first=at)
        found.append(vertex)
        at = at if vertex is None else vertex
    return found


def _vertex(line: np.ndarray, point: Point2, *, first: int) -> int | None:
    """The first vertex from ``first`` on that is a point, to a millimetre."""
    away = np.hypot(*(line[first:] - point).T)
    near = np.flatnonzero(away <= PLACE_M)
    return first + int(near[0]) if len(near) else None


def _foot(
    machines: Machines, stop: Stop, *, line: np.ndarray, number: int, first: int
) -> int | None:
    foot_m = deck_foot(machines, stop, stop.stands[number])
    if foot_m is None or not len(line):
        return None
    later = (s for s in stop.stands[number + 1 :] if s.deck is None)
    limits = (_vertex(line, (s.x_m, s.y_m), first=first) for s in later)
    last = next((k for k in limits if k is not None), len(line) - 1)
    away = np.hypot(*(line[first : last + 1] - foot_m).T)
    best = int(away.argmin())
    return first + best if away[best] <= FOOT_WITHIN_M + PLACE_M else None


def deck_foot(machines: Machines, stop: Stop, stand: StandVisit) -> Point2 | None:
    """Where the climb to a stand's deck begins; None where the unit has no such deck."""
    machine = machines.placed.get((stop.unit, stand.posture))
    decks = () if machine is None else machine.decks
    return next((deck.foot_m for deck in decks if deck.name == stand.deck), None)


def inside_tracks(
    technician: int, number: int, stop: Stop, *, feet: Sequence[int | None]
) -> Iterator[Track]:
    """The walk to each stand but the first from the stand before, as far as it can be told."""
    known = [(k, at) for k, at in enumerate(feet) if at is not None]
    for (_, begin), (stand, end) in pairwise(known):
        yield Track(technician, number, stand, stop.inside[begin : end + 1])
