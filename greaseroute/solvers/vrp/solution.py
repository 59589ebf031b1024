"""The answer of a crew's problem: who visits what, when, and how good it is proved to be."""

from dataclasses import dataclass
from typing import Literal

Status = Literal["optimal", "bounded", "no bound yet", "interrupted"]


@dataclass(frozen=True, slots=True)
class Visit:
    """One stop of a technician: a unit by one of its ways, or a store.

    ``unit`` and ``way`` are -1 at a store, ``store`` (a row of ``store_points``) is -1 elsewhere.
    The leg to it begins at ``depart_ms`` with the walking times of ``phase`` (-1: the problem's
    own, else a row of ``phases``). ``put_in`` are the cartridges per gun kind put in at a unit,
    ``load`` those taken at a store.
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
    put_in: tuple[int, ...] = ()
    load: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True)
class TechnicianRound:
    """What one technician does. ``load`` is the bag at the start, cartridges per gun kind.

    ``work_ms`` is the time at units and stores, ``change_ms`` the part of it that cartridge changes
    take.
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
    change_ms: int = 0
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
