"""From a ground plan and the machines standing on it to the free ground at a time of day."""

from collections.abc import Callable, Iterable, Mapping, Sequence
from datetime import datetime

import shapely
from shapely.geometry import LineString, Polygon
from shapely.geometry.base import BaseGeometry

from greaseroute.catalogue.kinematics.placed import PlacedMachine
from greaseroute.site.ground_plan import Barrier, Gate, GroundPlan
from greaseroute.walk.crossings import closed_roads, wait_lines
from greaseroute.walk.footprint import closed_ground
from greaseroute.walk.ground import FreeGround
from greaseroute.walk.hours import Span, open_crossings, shut_zones
from greaseroute.walk.obstacles import Closing, close
from greaseroute.walk.slow import SlowArea

GATE_SLACK_M = 1e-6

Named = tuple[str, BaseGeometry]
ClosedBy = Callable[[PlacedMachine], Sequence[Polygon]]


def site_ground(
    plan: GroundPlan,
    placed: Mapping[str, PlacedMachine | Sequence[PlacedMachine]],
    *,
    clearance_m: float,
    at: datetime | None = None,
    times: Span | None = None,
    speed_m_s: float = 1.2,
    closed_by: ClosedBy = closed_ground,
    closing: Closing = close,
) -> FreeGround:
    """Free ground of a site with its machines.

    Parameters
    ----------
    plan : GroundPlan
    placed : mapping of unit to its machine, or to several postures, all of which are kept clear
    clearance_m : float
        Kept from everything but the boundary.
    at, times : datetime, or (from, to)
        Local moment or span; a zone or crossing that is shut at any moment of it is shut. With
        neither, everything that has hours is shut.
    closed_by, closing : callable
        `closed_ground` and `close`, or the same with a memory where several grounds are made.

    Raises
    ------
    UnfitProblem
        A shape that cannot be mended, by its name.
    """
    span = times if at is None else (at, at)
    crossings = open_crossings(plan.crossings, span)
    named = [
        *((o.name, o.polygon) for o in plan.obstacles),
        *((z.name, z.polygon) for z in shut_zones(plan.no_go, span)),
        *closed_roads(plan.haul_roads, crossings),
        *barrier_lines(plan.barriers, plan.gates),
        *machine_ground(placed, closed_by),
    ]
    return FreeGround(
        plan.boundary,
        [shape for _, shape in named],
        clearance_m,
        names=[name for name, _ in named],
        waits=wait_lines(plan.haul_roads, crossings),
        slow=[SlowArea(s.polygon, s.time_factor, s.name) for s in plan.slow_ground],
        heights=plan.spot_heights or None,
        speed_m_s=speed_m_s,
        closing=closing,
    )


def barrier_lines(barriers: Iterable[Barrier], gates: Iterable[Gate]) -> list[Named]:
    """Named pieces of barrier that are not a gate."""
    openings = [g.opening.buffer(GATE_SLACK_M, cap_style="flat") for g in gates]
    opened = shapely.union_all(openings)
    return [
        (barrier.name, piece)
        for barrier in barriers
        for piece in shapely.get_parts(barrier.line_string.difference(opened))
        if isinstance(piece, LineString) and piece.length > GATE_SLACK_M
    ]


def machine_ground(
    placed: Mapping[str, PlacedMachine | Sequence[PlacedMachine]],
    closed_by: ClosedBy = closed_ground,
) -> list[Named]:
    """Closed ground of every unit under its name; of several postures, all of it."""
    out: list[Named] = []
    for unit, machines in placed.items():
        each = [machines] if isinstance(machines, PlacedMachine) else list(machines)
        out += [(unit, shape) for machine in each for shape in closed_by(machine)]
    return out
