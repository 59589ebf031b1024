"""The ground as a graph: which pieces there are, and through which openings one gets to them.

Pieces of ground are what is left with every gate and crossing shut. An opening (gate or crossing)
joins the pieces that are one piece when it alone is open. A unit hangs on the pieces that come
within a step of its footprint.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cache, partial

import networkx as nx
import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from greaseroute.site.clearance import kept_ground
from greaseroute.site.ground_plan import Area, Gate, GroundPlan
from greaseroute.site.model import Site
from greaseroute.walk.footprint import closed_ground
from greaseroute.walk.obstacles import Closing, close
from greaseroute.walk.site_ground import ClosedBy, site_ground
from greaseroute.walk.yard import ON_GROUND_M, Stances, stances_now

STEP_M = 1.0  # from where one stands to the edge of a machine; our setting
LEAST_PIECE_M2 = 0.5  # less ground than this holds nobody; our setting

Pieces = NDArray[np.object_]


@dataclass(frozen=True, slots=True)
class OnlyWay:
    """An opening that is the only way to some units from where the technicians start."""

    opening: str
    kind: str
    units: tuple[str, ...]

    def __str__(self) -> str:
        are = "is" if len(self.units) == 1 else "are"
        return f"if the {self.opening} is shut, {', '.join(self.units)} {are} cut off"


def site_graph(site: Site) -> nx.Graph:
    """Pieces of ground, openings, units and places of a site with their neighbourhood.

    Parameters
    ----------
    site : Site
        Units in the posture they stand in; hours are not looked at: every zone without hours is
        shut, every crossing counts as an opening.

    Returns
    -------
    networkx.Graph
        Nodes are (kind, name). ``("ground", "1")`` has ``area_m2`` and ``polygon``; ``("gate",
        name)`` and ``("crossing", name)`` have ``geometry``; ``("unit", name)`` and ``("place",
        name)`` have ``x_m`` and ``y_m``. Edges join a piece of ground with what borders on it.

    Raises
    ------
    PostureRefused
        A unit standing in a posture that its type cannot take.
    """
    stances = stances_now(site)
    # Many grounds of the same shapes: each shape is widened once.
    parts = partial(_pieces, site, stances, closed_by=cache(closed_ground), closing=cache(close))
    pieces = parts(openings=())
    graph = nx.Graph(name=site.name)
    for number, piece in enumerate(pieces, start=1):
        graph.add_node(("ground", str(number)), area_m2=float(piece.area), polygon=piece)
    for kind, opening in _openings(site.ground):
        shape = opening.opening if isinstance(opening, Gate) else opening.polygon
        graph.add_node((kind, opening.name), geometry=shape)
        opened = parts(openings=(opening,))
        for number in _joined(pieces, opened, shape):
            graph.add_edge((kind, opening.name), ("ground", str(number + 1)))
    _add_units(graph, site, stances, pieces=pieces)
    _add_places(graph, site, pieces)
    return graph


def only_ways(site: Site, graph: nx.Graph | None = None) -> tuple[OnlyWay, ...]:
    """Every opening without which some unit cannot be walked to, in the order of the plan.

    A unit counts as reached where it hangs together with a technician's start. Units that are
    cut off already are not named: no opening leads to them.
    """
    graph = site_graph(site) if graph is None else graph
    starts = {("place", t.start) for t in site.technicians} & set(graph)
    reached = _units_with(graph, starts)
    narrow = set(nx.articulation_points(graph))
    found = []
    for kind, opening in _openings(site.ground):
        if (kind, opening.name) not in narrow:
            continue
        shut = nx.restricted_view(graph, [(kind, opening.name)], [])
        lost = reached - _units_with(shut, starts)
        if lost:
            order = [u.unit for u in site.units if u.unit in lost]
            found.append(OnlyWay(opening.name, kind, tuple(order)))
    return tuple(found)


def _units_with(graph: nx.Graph, starts: set[tuple[str, str]]) -> set[str]:
    """Units in one component with one of ``starts``."""
    return {
        name
        for component in nx.connected_components(graph)
        if starts & component
        for kind, name in component
        if kind == "unit"
    }


def _openings(plan: GroundPlan) -> Iterator[tuple[str, Gate | Area]]:
    yield from (("gate", gate) for gate in plan.gates)
    yield from (("crossing", crossing) for crossing in plan.crossings)


def _pieces(
    site: Site,
    stances: Stances,
    *,
    openings: Sequence[Gate | Area],
    closed_by: ClosedBy,
    closing: Closing,
) -> Pieces:
    """The parts of the free ground with only ``openings`` open, whatever their hours."""
    kept = kept_ground(site.ground, site.rules)
    longer = {crossing.name: crossing for crossing in kept.crossings}
    plan = replace(
        kept,
        gates=tuple(o for o in openings if isinstance(o, Gate)),
        crossings=tuple(
            replace(longer.get(o.name, o), hours=()) for o in openings if isinstance(o, Area)
        ),
        no_go=tuple(zone for zone in kept.no_go if not zone.hours),
    )
    clearance_m = site.rules.clearance_m
    free = site_ground(
        plan, stances, clearance_m=clearance_m, closed_by=closed_by, closing=closing
    ).free
    parts = shapely.get_parts(free)
    return parts[shapely.area(parts) >= LEAST_PIECE_M2]


def _joined(pieces: Pieces, opened: Pieces, shape: BaseGeometry) -> list[int]:
    """Numbers of the pieces that touch the opened ground at the opening ``shape``."""
    here = [part for part in opened if shapely.intersects(part, shape)]
    return [
        number
        for number, piece in enumerate(pieces)
        if any(shapely.intersects(piece.representative_point(), part) for part in here)
    ]


def _add_units(graph: nx.Graph, site: Site, stances: Stances, *, pieces: Pieces) -> None:
    for unit in site.units:
        body = shapely.union_all([s for m in stances[unit.unit] for s in closed_ground(m)])
        graph.add_node(("unit", unit.unit), x_m=unit.x_m, y_m=unit.y_m)
        near = shapely.distance(pieces, body) <= site.rules.clearance_m + STEP_M
        graph.add_edges_from(
            (("unit", unit.unit), ("ground", str(number + 1))) for number in np.flatnonzero(near)
        )


def _add_places(graph: nx.Graph, site: Site, pieces: Pieces) -> None:
    for place in site.ground.places:
        graph.add_node(("place", place.name), x_m=place.point.x, y_m=place.point.y)
        near = shapely.distance(pieces, place.point) <= ON_GROUND_M
        graph.add_edges_from(
            (("place", place.name), ("ground", str(number + 1))) for number in np.flatnonzero(near)
        )
