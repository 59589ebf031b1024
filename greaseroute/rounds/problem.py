"""The crew's problem and its answer in integers and arrays: no machine, no polygon, no clock.

Times are milliseconds from the plan's zero, lengths millimetres, losses whole weights. Shapes:
T technicians, U units, W ways, P points, G gun kinds, S stores.
"""

from dataclasses import dataclass
from typing import Literal, NamedTuple

import numpy as np
from numpy.typing import NDArray

from greaseroute.rounds.crew_fit import NO_LIMIT_MS, faults_of

__all__ = [
    "CANNOT",
    "NO_LIMIT_MS",
    "NO_PATH",
    "CrewBound",
    "CrewProblem",
    "CrewSolution",
    "IntArray",
    "Phase",
    "SkippedUnit",
    "TechnicianRound",
    "Visit",
]

IntArray = NDArray[np.int64]

NO_PATH = -1  # in travel_ms and length_mm: nobody gets from here to there
CANNOT = -1  # in way_ms: this technician cannot take this way (no gun, no skill)

Status = Literal["optimal", "bounded", "no bound yet", "interrupted"]


class Phase(NamedTuple):
    """Walking times that hold from ``from_ms`` on, until the next phase begins.

    ``travel_ms`` (T, P, P) and ``length_mm`` (P, P) are as in the problem; ``length_mm`` None
    means the problem's own. A leg may begin and end in one phase, or last through a change: it
    then takes the longest of the phases it touches (what is open while more is closed is open
    while less is closed), and is impossible if one of them has no path. A technician may also
    stand and wait for the next phase.
    """

    from_ms: int
    travel_ms: IntArray
    length_mm: IntArray | None = None


@dataclass(frozen=True, slots=True, eq=False)
class CrewProblem:
    """Which units, in which way, by whom, in which order: all that decides it, as integers.

    Every technician leaves ``start_point`` at ``start_ms`` and ends at ``finish_point`` not after
    ``end_ms``, also one who visits nothing. A unit is visited once at most, by one of its ways.
    Work at it lies inside its window; one may arrive early and wait.

    Attributes
    ----------
    travel_ms : (T, P, P)
        Walking time per technician, ``NO_PATH`` where there is none. Valid until the first phase.
    length_mm : (P, P)
        Walking length.
    way_unit, way_enter, way_leave : (W,)
        The unit of a way; the points where it is begun and left.
    way_ms : (T, W)
        Time at the unit, isolation and all; ``CANNOT`` where a technician may not.
    way_loss : (W,)
        Weight left undone by this way (0: all that is due is served); ways of one unit may be at
        several service levels.
    way_strokes : (W, G)
        Strokes per gun kind.
    skip_loss : (U,)
        Weight lost if the unit is not visited; not below the loss of any of its ways.
    window_ms : (U, 2)
        Work begins not before the first and ends not after the second (or ``NO_LIMIT_MS``).
    start_point, finish_point, start_ms, end_ms : (T,)
        Where and when each technician starts and must have finished.
    store_points : (S,)
        Points where the bag can be filled again, in ``reload_ms``.
    bag_cartridges : (T,)
        Cartridges in a full bag, of all kinds together; the mix is free.
    cartridge_strokes : (T, G)
        Strokes out of one cartridge, priming taken off. A way's strokes are counted as one sum:
        after s strokes of a kind, ceil((s - gun_left_strokes) / cartridge_strokes) cartridges
        have been put in. The rule of the card (a cartridge that cannot finish the next fitting is
        changed before it) wastes up to one stroke less than the largest fitting takes; who gives
        ``cartridge_strokes`` less that waste is never told to carry too few.
    phases
        Walking times that change with the hour, ascending ``from_ms``.
    bag_at_start : (T,), optional
        Cartridges in the bag at the start, if it is not full (a round already under way).
    gun_left_strokes : (T, G), optional
        Strokes left in the guns at the start; 0 if not given.
    way_window_ms : (W, 2), optional
        A window of one way alone, within the unit's (an operator who is at hand for part of it).
    way_fixed_ms : (T, W), optional
        The part of ``way_ms`` that no route changes (pumping, isolation); the gap is stated over
        the rest. 0 if not given. Its least value over a unit's ways and technicians counts.
    unit_technician : (U,), optional
        The technician a unit is fixed to, -1 where free.
    way_needs_second : (W,) bool, optional
        A second person must be at hand from beginning to end: the work must lie inside the
        unit's ``operator_ms``. Without ``operator_ms`` such a way cannot be taken.
    operator_ms : (U, 2), optional
        When an operator (or anyone else instructed) is at hand at the unit; (0, 0) for never.
    keep : sequences of units per technician, optional
        The plan before the change. Each unit that follows another than it did before (or none),
        counts as one change and costs ``change_cost_ms`` on top of the last finish.
    """

    travel_ms: IntArray
    length_mm: IntArray
    way_unit: IntArray
    way_enter: IntArray
    way_leave: IntArray
    way_ms: IntArray
    way_loss: IntArray
    way_strokes: IntArray
    skip_loss: IntArray
    window_ms: IntArray
    start_point: IntArray
    finish_point: IntArray
    start_ms: IntArray
    end_ms: IntArray
    store_points: IntArray
    bag_cartridges: IntArray
    cartridge_strokes: IntArray
    reload_ms: int = 0
    phases: tuple[Phase, ...] = ()
    gun_left_strokes: IntArray | None = None
    bag_at_start: IntArray | None = None
    way_window_ms: IntArray | None = None
    way_fixed_ms: IntArray | None = None
    unit_technician: IntArray | None = None
    way_needs_second: NDArray[np.bool_] | None = None
    operator_ms: IntArray | None = None
    keep: tuple[tuple[int, ...], ...] | None = None
    change_cost_ms: int = 0

    def __post_init__(self) -> None:
        """Refuse numbers that no solver must see; raises UnfitProblem with the first of them."""
        for fault in faults_of(self):
            raise fault

    @property
    def technicians(self) -> int:
        """Number of technicians T."""
        return int(self.start_point.shape[0])

    @property
    def units(self) -> int:
        """Number of units U."""
        return int(self.skip_loss.shape[0])

    @property
    def ways(self) -> int:
        """Number of ways W."""
        return int(self.way_unit.shape[0])


@dataclass(frozen=True, slots=True)
class Visit:
    """One stop of a technician: a unit by one of its ways, or a store.

    ``unit`` and ``way`` are -1 at a store, ``store`` (a row of ``store_points``) is -1 elsewhere.
    The leg to it begins at ``depart_ms`` with the walking times of ``phase`` (-1: the problem's
    own, else a row of ``phases``). ``load`` are the cartridges per gun kind taken at a store.
    """

    kind: Literal["unit", "store"]
    unit: int
    way: int
    store: int
    depart_ms: int
    arrive_ms: int
    begin_ms: int
    leave_ms: int
    phase: int = -1
    load: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True)
class TechnicianRound:
    """What one technician does. ``load`` is the bag at the start, cartridges per gun kind.

    The leg to the finish begins at ``depart_ms`` with the walking times of ``phase``.
    ``reason`` says why a technician stays out of it, "" for one who takes part.
    """

    technician: int
    visits: tuple[Visit, ...]
    start_ms: int
    depart_ms: int
    finish_ms: int
    walk_ms: int
    walk_mm: int
    work_ms: int
    wait_ms: int
    phase: int = -1
    load: tuple[int, ...] = ()
    reason: str = ""


@dataclass(frozen=True, slots=True)
class SkippedUnit:
    """A unit that is not visited, the weight lost, and the first thing that stands in the way."""

    unit: int
    loss: int
    reason: str


@dataclass(frozen=True, slots=True)
class CrewBound:
    """What is proved: ``value_ms`` cannot go below ``lower_ms``; ``what`` says what both are of.

    ``gap_pct`` is taken over the route-dependent part, None where nothing is proved.
    """

    lower_ms: int
    value_ms: int
    gap_pct: float | None
    what: str


@dataclass(frozen=True, slots=True)
class CrewSolution:
    """A plan for the crew; ``lost``, ``last_finish_ms``, ``walk_mm``, ``spread_ms`` in that order.

    ``spread_ms`` is the longest less the shortest time on the round among technicians who take
    part; ``changes`` the units that follow another than in the plan before.
    """

    rounds: tuple[TechnicianRound, ...]
    skipped: tuple[SkippedUnit, ...]
    lost: int
    last_finish_ms: int
    walk_mm: int
    spread_ms: int
    changes: int
    bound: CrewBound
    status: Status
    iterations: int
    seed: int

    def sequences(self) -> tuple[tuple[int, ...], ...]:
        """The units of each technician in order: what ``keep`` takes for the next plan."""
        return tuple(tuple(v.unit for v in r.visits if v.kind == "unit") for r in self.rounds)
