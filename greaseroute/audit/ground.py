"""Closed ground, re-derived from the ground plan: what is shut always, what by the clock."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import shapely
from shapely.geometry import LineString, Polygon
from shapely.geometry.base import BaseGeometry

from greaseroute.audit.basis import Basis
from greaseroute.audit.house_rules import BARRIER_HALF_M, PLACE_M, TIGHT_M
from greaseroute.audit.machines import Machines
from greaseroute.audit.moments import Span, joined
from greaseroute.site.crew import WorkingRules
from greaseroute.site.ground_plan import Area, Barrier

STRIP_M = 0.01  # what a crossing or gate opens of the strip beside it reaches so far beyond it


@dataclass(frozen=True, slots=True)
class Shut:
    """One shape nobody walks on; ``unit`` where it is a machine's."""

    name: str
    shape: BaseGeometry
    unit: str = ""


@dataclass(frozen=True, slots=True)
class ShutForHours:
    """A zone or a crossing that is shut for a while; ``near`` is it with the clearance."""

    name: str
    near: BaseGeometry
    spans: tuple[Span, ...]


@dataclass(frozen=True, slots=True)
class Passage:
    """One piece of a crossing that lies on a haul road: its wait, and its two (or more) banks."""

    name: str
    wait_s: float
    shape: Polygon
    banks: tuple[BaseGeometry, ...]

    def bank(self, x_m: float, y_m: float) -> int:
        """The number of the bank nearest to a point of its rim."""
        here = shapely.points(x_m, y_m)
        return int(np.argmin([bank.distance(here) for bank in self.banks]))


@dataclass(frozen=True, eq=False)
class Ground:
    """The ground plan with the machines on it, as something to walk on."""

    basis: Basis
    machines: Machines

    @cached_property
    def always(self) -> tuple[Shut, ...]:
        """What nobody walks on at any hour, without the clearance."""
        plan = self.basis.site.ground
        return (
            *(Shut(a.name, self._kept(a)) for a in plan.obstacles),
            *(Shut(a.name, self._kept(a)) for a in plan.no_go if not a.hours),
            *_parts((a.name, self._road(a)) for a in plan.haul_roads),
            *self._barriers(),
            *self._under_machines(),
        )

    def _kept(self, area: Area) -> BaseGeometry:
        """A shape larger by what the rules keep from such a thing beyond the clearance."""
        return _larger(_valid(area.polygon), more_than_clearance_m(area, self.basis.site.rules))

    def _road(self, road: Area) -> BaseGeometry:
        """A haul road, larger by its distance, less its crossings over all of that."""
        more = more_than_clearance_m(road, self.basis.site.rules)
        crossings = [_larger(c.polygon, more + STRIP_M) for c in self.basis.site.ground.crossings]
        own = [c.polygon for c in self.basis.site.ground.crossings]
        shape = _valid(road.polygon)
        beside = _larger(shape, more).difference(shape).difference(shapely.union_all(crossings))
        return shapely.union_all([shape.difference(shapely.union_all(own)), beside])

    def _barriers(self) -> Iterator[Shut]:
        plan = self.basis.site.ground
        openings = [g.opening.buffer(TIGHT_M, cap_style="flat") for g in plan.gates]
        opened = shapely.union_all(openings)
        lines = ((b.name, b.line_string.difference(opened)) for b in plan.barriers)
        yield from (s for s in _parts(lines) if s.shape.length > TIGHT_M)
        for barrier in plan.barriers:
            more = more_than_clearance_m(barrier, self.basis.site.rules)
            if more > 0:
                gates = [g.opening.buffer(more + STRIP_M, cap_style="flat") for g in plan.gates]
                strip = _larger(barrier.line_string, more).difference(shapely.union_all(gates))
                yield from _parts([(barrier.name, strip)])

    def _under_machines(self) -> Iterator[Shut]:
        for (unit, posture), shapes in self.machines.closed.items():
            own = posture == self.basis.units[unit].posture
            name = f"machine {unit}" if own else f"machine {unit} in posture {posture}"
            yield from (Shut(name, shape, unit) for shape in shapes)

    @property
    def clearance_m(self) -> float:
        """Kept from everything but the boundary."""
        return self.basis.site.rules.clearance_m

    @cached_property
    def by_the_clock(self) -> tuple[ShutForHours, ...]:
        """What is shut during hours that the plan touches, with the clearance."""
        plan = self.basis.site.ground
        roads = shapely.union_all([_valid(r.polygon) for r in plan.haul_roads])
        timed = [(z, self._near(self._kept(z))) for z in plan.no_go if z.hours]
        timed += [(c, self._on_road(c, roads)) for c in plan.crossings if c.hours]
        return (
            *(
                ShutForHours(area.name, near, spans)
                for area, near in timed
                if (spans := self._spans(area))
            ),
            *self._traffic(),
        )

    def _traffic(self) -> Iterator[ShutForHours]:
        """Ground of machines that leave, from that hour on, with the distance of a closed zone."""
        basis = self.basis
        for each in basis.plan.leaving:
            zone = Area(f"way out of {each.unit}", "no_go", Polygon(each.ground))
            span = (basis.clock.of_text(each.leaves), max(basis.last_ms, basis.end_ms) + 1)
            yield ShutForHours(zone.name, self._near(self._kept(zone)), (span,))

    def _on_road(self, crossing: Area, roads: BaseGeometry) -> BaseGeometry:
        """What a shut crossing closes: also its very edges across the road, where one may walk
        along the road's own edge without a clearance.
        """
        shape = crossing.polygon.intersection(roads)
        beside = [self._beside(road, crossing) for road in self.basis.site.ground.haul_roads]
        shape = shapely.union_all([shape, *beside])
        if self.clearance_m > PLACE_M:
            return self._near(shape)
        wide = shapely.union_all([roads, *beside])
        return shape.buffer(PLACE_M).intersection(wide.buffer(-PLACE_M))

    def _beside(self, road: Area, crossing: Area) -> BaseGeometry:
        """The strip kept off a haul road, beyond the clearance, where a crossing opens it."""
        more = more_than_clearance_m(road, self.basis.site.rules)
        others = [c for c in self.basis.site.ground.crossings if c is not crossing]
        opened = [_larger(c.polygon, more + STRIP_M) for c in (crossing, *others)]
        shape = _valid(road.polygon)
        strip = _larger(shape, more).difference(shape).intersection(opened[0])
        return strip.difference(shapely.union_all(opened[1:]))

    def _near(self, shape: BaseGeometry) -> BaseGeometry:
        """All points nearer to a shape than the clearance, one millimetre forgiven."""
        return shape.buffer(self.clearance_m - PLACE_M, quad_segs=16)

    def _spans(self, area: Area) -> tuple[Span, ...]:
        basis = self.basis
        return joined(
            span for h in area.hours for span in basis.clock.daily(h, until=basis.last_ms + 1)
        )

    @cached_property
    def passages(self) -> tuple[Passage, ...]:
        """Every piece of a crossing on a haul road at which one waits."""
        plan = self.basis.site.ground
        roads = shapely.union_all([_valid(r.polygon) for r in plan.haul_roads])
        shut = roads.difference(shapely.union_all([c.polygon for c in plan.crossings]))
        return tuple(
            Passage(crossing.name, crossing.wait_s, piece, _banks(piece, shut))
            for crossing in plan.crossings
            if crossing.wait_s > 0
            for piece in shapely.get_parts(crossing.polygon.intersection(roads))
            if isinstance(piece, Polygon) and piece.area > 0
        )

    @cached_property
    def free(self) -> BaseGeometry:
        """Ground that is free at some hour: boundary less all that is always shut, kept off.

        Corners are kept off by two chords outside the true arc, as the planner's ground has it:
        a place in the sliver between chord and arc is no argument.
        """
        kept_off = [self.kept_off(shut.shape) for shut in self.always]
        return _valid(self.basis.site.ground.boundary).difference(shapely.union_all(kept_off))

    def kept_off(self, shape: BaseGeometry) -> BaseGeometry:
        """A shape and all ground nearer to it than the clearance, corners cut off square."""
        near_m = self.clearance_m
        if isinstance(shape, LineString):
            near_m = max(near_m, BARRIER_HALF_M)
        if near_m == 0:
            return shape
        return shape.buffer(near_m, cap_style="square", join_style="mitre", mitre_limit=1.001)

    @cached_property
    def walkable(self) -> BaseGeometry:
        """The parts of the free ground on which somebody of this plan starts."""
        starts = [shapely.points(t.path[0]) for t in self.basis.plan.technicians if t.path]
        parts = shapely.get_parts(self.free)
        if not starts or not len(parts):
            return shapely.union_all([])
        near = [shapely.distance(parts, start) <= PLACE_M for start in starts]
        return shapely.union_all(parts[np.any(near, axis=0)])


# What somebody on foot keeps a distance of its own from, by words of its kind.
KEPT_FROM = (
    ("rail_clearance_m", ("rail", "siding", "railway")),
    ("edge_clearance_m", ("face", "edge", "bench", "crest", "highwall")),
    ("water_clearance_m",
     ("water", "pond", "lagoon", "basin", "dock", "river", "lake", "sump")),
    ("toe_clearance_m", ("stockpile", "heap", "spoil", "tip", "toe", "pile")),
)  # fmt: skip


def more_than_clearance_m(thing: Area | Barrier, rules: WorkingRules) -> float:
    """By how much the distance kept from a thing exceeds that kept from everything."""
    words = thing.kind.lower().replace("-", " ").split()
    singular = {word.rstrip("s") for word in words} | set(words)
    fields = [next((f for f, known in KEPT_FROM if singular & set(known)), "")]
    role = thing.role if isinstance(thing, Area) else ""
    fields += [f"{role}_clearance_m"] if role == "haul_road" else []
    fields += ["no_entry_clearance_m"] if role == "no_go" else []
    most_m = max(float(getattr(rules, field, 0.0)) if field else 0.0 for field in fields)
    return max(0.0, most_m - rules.clearance_m)


def _larger(shape: BaseGeometry, more_m: float) -> BaseGeometry:
    if more_m <= 0:
        return shape
    return shape.buffer(more_m, cap_style="square", join_style="mitre", mitre_limit=1.001)


def _valid(shape: BaseGeometry) -> BaseGeometry:
    """The area that a drawn outline stands for; a self-crossing one closes all it winds round."""
    if shape.is_valid:
        return shape
    return shapely.make_valid(shape, method="structure", keep_collapsed=False)


def _parts(named: Iterable[tuple[str, BaseGeometry]]) -> Iterator[Shut]:
    for name, shape in named:
        yield from (Shut(name, part) for part in shapely.get_parts(shape) if not part.is_empty)


def _banks(piece: Polygon, shut: BaseGeometry) -> tuple[BaseGeometry, ...]:
    """The stretches of a piece's rim that do not border on the closed road."""
    rim = piece.exterior.difference(shut.buffer(PLACE_M))
    stretches = shapely.get_parts(shapely.line_merge(rim))
    return tuple(s for s in stretches if s.length > 10 * PLACE_M)
