"""Which calls can be made at a unit: for a posture, a slew, a second pair of hands, or why not."""

from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass, field, replace

from greaseroute.catalogue.kinematics.placed import PlacedMachine
from greaseroute.catalogue.machine_type import MachineType
from greaseroute.catalogue.posture import position
from greaseroute.site.crew import WorkingRules
from greaseroute.site.fleet import Unit
from greaseroute.site.swept import (
    Miss,
    Surroundings,
    move_misses,
    path_between,
    rolled,
    slew_misses,
    told,
)
from greaseroute.units import MS_PER_S, S_PER_MIN, ms
from greaseroute.visits.work import CannotDo, JointWork, UnitWork

Span = tuple[int, int]
NO_SECOND = "no time for it while a second person is at hand"
MORE_TIME = "more time, or one more technician"


@dataclass(frozen=True, slots=True)
class NoCall:
    """Why a call cannot be made, and what would help."""

    reason: str
    helps: str


@dataclass(frozen=True, eq=False)
class Calls:
    """What stands in the way of calls: people and their hours, and what is round the machines.

    ``people`` gives the spans (ms) in which somebody is at hand who may operate a machine,
    ``window`` when a unit stands, ``clock`` a moment as text. ``given_up`` are postures (unit,
    posture) that there was no time for.
    """

    rules: WorkingRules
    around: Surroundings
    people: Callable[[MachineType], Sequence[Span]]
    window: Callable[[Unit], Span]
    clock: Callable[[int], str]
    given_up: Collection[tuple[str, str]] = ()
    _known: dict[tuple[str, str, str], NoCall | None] = field(default_factory=dict)

    def for_posture(
        self, work: UnitWork, now: PlacedMachine, other: PlacedMachine
    ) -> NoCall | None:
        """Why a unit cannot be brought from one posture into another."""
        if (work.unit.unit, other.posture) in self.given_up:
            return NoCall(NO_SECOND, MORE_TIME)
        key = work.unit.unit, now.posture, other.posture
        if key not in self._known:
            wanted_ms = ms(self.rules.posture_move_min * S_PER_MIN)
            self._known[key] = self._nobody(work.unit, work.machine_type, wanted_ms) or (
                self._no_room(work.unit, now, other)
            )
        return self._known[key]

    def _no_room(self, unit: Unit, now: PlacedMachine, other: PlacedMachine) -> NoCall | None:
        around = self.around.without(unit.unit)
        misses = move_misses(path_between(now, other), around)
        return _blocked(
            f"no room to bring it into {position(other.posture)}: its way",
            misses,
            self.rules.swing_gap_m,
        )

    def for_joint(self, work: UnitWork, joint: JointWork, now: PlacedMachine) -> NoCall | None:
        """Why the procedure of a joint cannot be done."""
        procedure = joint.joint.procedure
        if procedure is None:
            return None
        if joint.needs_second:
            wanted_ms = ms(procedure.minutes * S_PER_MIN)
            nobody = self._nobody(work.unit, work.machine_type, wanted_ms)
            if nobody is not None:
                return nobody
        around = self.around.without(work.unit.unit)
        if procedure.kind == "slew" or procedure.turns:
            return self.for_slew(work, now)
        if procedure.kind == "turn shaft" and procedure.moves:
            return _blocked(
                "no room to roll it on: its way",
                move_misses(rolled(now), around),
                self.rules.swing_gap_m,
            )
        return None

    def for_slew(self, work: UnitWork, placed: PlacedMachine) -> NoCall | None:
        """Why the upperstructure of a unit cannot be turned."""
        misses = slew_misses(placed, self.around.without(work.unit.unit))
        return _blocked("no room to slew: the swing radius", misses, self.rules.swing_gap_m)

    def _nobody(self, unit: Unit, machine: MachineType, wanted_ms: int) -> NoCall | None:
        first, last = self.window(unit)
        spans = self.people(machine)
        if any(min(b, last) - max(a, first) >= wanted_ms for a, b in spans):
            return None
        minutes = -(-wanted_ms // round(S_PER_MIN * MS_PER_S))
        between = f"for {minutes} min between {self.clock(first)} and {self.clock(last)}"
        reason = "nobody is at hand who may operate it"
        return NoCall(reason, f"somebody who may operate it ({machine.family}), {between}")


def _blocked(what: str, misses: Sequence[Miss], gap_m: float) -> NoCall | None:
    if not misses:
        return None
    more_m = misses[0].by_m
    helps = f"park it {more_m:.2f} m or more away from there"
    return NoCall(f"{what} {told(misses[0], gap_m)}", helps)


def without_calls(work: UnitWork, calls: Calls, now: PlacedMachine) -> UnitWork:
    """The work less joints whose procedure cannot be done; they are listed with the reason."""
    joints: list[JointWork] = []
    told: list[CannotDo] = []
    for joint in work.joints:
        no_call = calls.for_joint(work, joint, now)
        if no_call is None:
            joints.append(joint)
        else:
            told.append(CannotDo(joint.due, no_call.reason, no_call.helps))
    if not told:
        return work
    return replace(work, joints=tuple(joints), takes_more=(*work.takes_more, *told))
