"""What a rest keeps of the morning's preparation: ground, stands, tours inside units, walks.

All of it is a function of where the units stand, so as long as none has moved or left, the rest
of a round asks for a part of it, and for the walks from where the technicians stand now.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from greaseroute.catalogue.placed import PlacedMachine
from greaseroute.due.worklist import DueItem
from greaseroute.rounds.kept_units import GroundNow, KeptUnits
from greaseroute.rounds.left import nobody_can
from greaseroute.rounds.morning import Morning, morning_of
from greaseroute.rounds.plan import LeftOut
from greaseroute.rounds.prepare import Outlook, Prepared, Wish, fixed_points, numbered
from greaseroute.rounds.unit_tours import IntArray
from greaseroute.rounds.walker import (
    MM_PER_M,
    NO_PATH,
    Array,
    Point2,
    Walks,
    line_of,
    up_to_ms,
    walks_between,
    whole,
)
from greaseroute.rounds.work import due_items, unit_works
from greaseroute.rounds.yard import Stances, Yard, footing, stances_now, yard_of
from greaseroute.site.crew import Technician
from greaseroute.site.fleet import Unit
from greaseroute.site.model import Site
from greaseroute.walk.footprint import closed_ground
from greaseroute.walk.travel import Travel

# Round a corner the clearance is held off by up to 41 % more (see `FreeGround`).
CLEAR_ROUND = 1.5
SEAM_M, SEAM_M2 = 0.05, 1e-3  # what rounding and sealed seams may leave along an edge


@dataclass(frozen=True, slots=True, eq=False)
class KeptWalks(Walks):
    """Walks between points of the morning, and from new ones (never to them) to all.

    ``number`` is the row of each point in ``kept``, -1 for a new one; ``new_row`` the row of each
    new point in ``fresh``, the walks from them in each span.
    """

    kept: Walks
    number: IntArray
    new_row: Mapping[int, int]
    fresh: tuple[Travel, ...]

    def line(self, a: int, b: int, *, span: int = 0) -> tuple[Point2, ...]:
        """The corners of the quickest way between two points by number, both ends included."""
        i, j = int(self.number[a]), int(self.number[b])
        if a == b or (i == j and a not in self.new_row):  # two places may be one point
            x, y = self.points[a].tolist()
            return ((x, y),) * (1 if a == b else 2)
        if a in self.new_row:
            return line_of(self.fresh[span], self.new_row[a], b)
        return self.kept.line(i, j, span=span)


def kept_for(ready: Prepared, site: Site, wish: Wish) -> Prepared | None:
    """The rest of a morning's round, prepared from what the morning's round had.

    ``site`` and ``wish`` are those of the rest. The ground stays closed in every posture that
    the morning asked for; where units moved or left it is laid anew, and units near by are
    looked at again. None where more is different: hours of closing gone by, ground cut off or
    opened farther away, a posture that nobody asked for before, a unit that nobody can walk to.
    """
    morning = morning_of(site, wish.at, finish_by=wish.finish_by)
    crew = _crew(site, ready.technicians)
    items = due_items(site, wish.at, work=wish.work)
    lain = _ground(ready, site, morning, items=items)
    if lain is None:
        return None
    outlooks = []
    for outlook in ready.outlooks:
        works = unit_works(
            site, items, outfit=outlook.outfit, with_looks=wish.with_looks, without=wish.without
        )
        kept = KeptUnits(site, lain, outlook).outlook(works)
        if kept is None:
            return None
        outlooks.append(kept)
    return Prepared(
        site=site,
        morning=morning,
        technicians=crew,
        items=items,
        yard=lain.yard,
        outlooks=_with_walks(outlooks, lain, fixed=fixed_points(site, crew, lain.yard)),
        left=_left(ready, wish, outlooks),
        keep=wish.keep,
    )


def _crew(site: Site, before: Sequence[Technician]) -> tuple[Technician, ...]:
    now = {t.name: t for t in site.technicians}
    return tuple(now[t.name] for t in before)


def _ground(
    ready: Prepared, site: Site, morning: Morning, *, items: Sequence[DueItem]
) -> GroundNow | None:
    """The morning's ground, laid anew where units moved or left; None where more is different."""
    gone_ms = ready.morning.ms(morning.zero)
    if any(0 < begin <= gone_ms for begin in ready.yard.begins):
        return None
    stances, changed = _stances(ready, site, items)
    if changed.is_empty:
        spans = tuple((max(0, begin - gone_ms), ground) for begin, ground in ready.yard.grounds)
        yard = Yard(stances, spans)
    else:
        yard = yard_of(site, stances, morning)
    then = _walkable(ready.site, ready.yard, ready.technicians)
    free = _walkable(site, yard, _crew(site, ready.technicians))
    if not shapely.equals_exact(free, then):
        elsewhere = shapely.difference(shapely.symmetric_difference(free, then), changed)
        if elsewhere.area > SEAM_M2:
            return None
    return GroundNow(yard, free, changed)


def _walkable(site: Site, yard: Yard, crew: Sequence[Technician]) -> BaseGeometry:
    return yard.walkable([footing(site, t.start, yard) for t in crew])


def _stances(ready: Prepared, site: Site, items: Sequence[DueItem]) -> tuple[Stances, BaseGeometry]:
    """Every unit in its postures, and the ground that moved and missing ones closed or close."""
    before, known = {u.unit: u for u in ready.site.units}, ready.yard.stances
    moved = {u.unit: u for u in site.units if not _stands_as_before(u, before[u.unit], known)}
    now = {unit: _postures(site, moved[unit], known[unit], items=items) for unit in moved}
    gone = before.keys() - {u.unit for u in site.units}
    shapes = [
        shape
        for placed in (
            *(p for unit in sorted({*gone, *moved}) for p in known[unit]),
            *(p for each in now.values() for p in each),
        )
        for shape in closed_ground(placed)
    ]
    round_m = CLEAR_ROUND * site.rules.clearance_m + SEAM_M
    changed = shapely.union_all(shapely.buffer(np.array(shapes, dtype=object), round_m))
    return {u.unit: now.get(u.unit, known[u.unit]) for u in site.units}, changed


def _postures(
    site: Site, unit: Unit, known: Sequence[PlacedMachine], *, items: Sequence[DueItem]
) -> tuple[PlacedMachine, ...]:
    """A moved unit as it stands, and if there is work at it in the postures asked for before."""
    names = [unit.posture]
    if any(item.unit == unit.unit for item in items):
        names += [placed.posture for placed in known if placed.posture != unit.posture]
    posed = [unit.model_copy(update={"posture": name}) for name in names]
    return tuple(stances_now(replace(site, units=(u,)))[u.unit][0] for u in posed)


def _stands_as_before(unit: Unit, before: Unit, known: Stances) -> bool:
    """Whether a unit stands where it did, in a posture that its ground is closed for."""
    where = unit.model_copy(update={"posture": before.posture})
    return where == before and unit.posture in {p.posture for p in known[unit.unit]}


def _left(ready: Prepared, wish: Wish, outlooks: Sequence[Outlook]) -> tuple[LeftOut, ...]:
    """What no search can serve: told by the caller, for nobody to do, and cut off as before."""
    works = [o.works for o in outlooks]
    nobody = nobody_can(works)
    open_ = {(w.unit.unit, j.joint.name) for each in works for w in each for j in w.joints}
    reached = {unit for outlook in outlooks for unit in outlook.visits}
    cut_off = [r for r in ready.left if (r.unit, r.joint) in open_ and r.unit not in reached]
    return (*wish.left, *nobody, *cut_off)


def _with_walks(
    outlooks: Sequence[Outlook], lain: GroundNow, *, fixed: Array
) -> tuple[Outlook, ...]:
    """The outlooks over one numbering of points, with the walks between them."""
    points, row = numbered(fixed, [v for o in outlooks for v in o.visits.values()])
    yard, starts = lain.yard, range(0, len(fixed), 2)
    walks: dict[float, Walks] = {}
    for outlook in outlooks:
        speed = outlook.outfit.speed_m_s
        if speed not in walks:
            found = None
            if not lain.is_changed:
                found = _kept_walks(outlook.walks, points, yard, starts=starts, speed_m_s=speed)
            walks[speed] = found or walks_between(points, yard.grounds, speed_m_s=speed)
    return tuple(replace(o, walks=walks[o.outfit.speed_m_s], row=row) for o in outlooks)


def _kept_walks(
    kept: Walks, points: Array, yard: Yard, *, starts: Sequence[int], speed_m_s: float
) -> KeptWalks | None:
    """A part of the walks that are known and those from new ``starts``; None for other points."""
    known = {tuple(spot): k for k, spot in enumerate(kept.points.tolist())}
    number = np.asarray([known.get(tuple(spot), -1) for spot in points.tolist()], np.int64)
    new = np.flatnonzero(number < 0)
    if not set(new.tolist()) <= set(starts):
        return None
    once = {
        id(ground): ground.travel(points[new], goals=points, speed_m_s=speed_m_s, slide=False)
        for _, ground in yard.grounds
    }
    fresh = tuple(once[id(ground)] for _, ground in yard.grounds)
    return KeptWalks(
        points=points,
        begins=tuple(yard.begins),
        travels=kept.travels,
        ms=tuple(
            _spliced(old, number, up_to_ms(f.time_s)) for old, f in zip(kept.ms, fresh, strict=True)
        ),
        mm=tuple(
            _spliced(old, number, whole(f.length_m * MM_PER_M))
            for old, f in zip(kept.mm, fresh, strict=True)
        ),
        kept=kept,
        number=number,
        new_row={int(point): k for k, point in enumerate(new)},
        fresh=fresh,
    )


def _spliced(old: IntArray, number: IntArray, fresh: IntArray) -> IntArray:
    """The table of all points: ``old`` by ``number``, rows of new points from ``fresh``."""
    table = np.ascontiguousarray(old[np.ix_(number, number)])
    new = number < 0
    table[:, new] = NO_PATH
    table[new] = fresh
    return table
