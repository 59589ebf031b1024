"""What a rest keeps of the morning's preparation: ground, stands, tours inside units, walks.

All of it is a function of where the units stand, so as long as none has moved or left, the rest
of a round asks for a part of it, and for the walks from where the technicians stand now.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from greaseroute.rounds.inside import inside_walks
from greaseroute.rounds.left import nobody_can
from greaseroute.rounds.morning import Morning, morning_of
from greaseroute.rounds.plan import LeftOut
from greaseroute.rounds.prepare import Outlook, Prepared, Wish, fixed_points, numbered
from greaseroute.rounds.survey import (
    Surveyed,
    as_posed,
    newly_closed,
    poses_for,
    survey,
    terms_of,
)
from greaseroute.rounds.unit_tours import IntArray
from greaseroute.rounds.visits import UnitTask, UnitVisit, unit_task, unit_visit, way_slack_ms
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
from greaseroute.rounds.work import UnitWork, due_items, unit_works
from greaseroute.rounds.yard import Yard, footing
from greaseroute.site.crew import Technician
from greaseroute.site.model import Site
from greaseroute.walk.travel import Travel


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
    the morning asked for. None where the ground is another than it was: units moved, turned or
    left, hours of closing gone by, people on other ground, a posture nobody asked for before.
    """
    morning = morning_of(site, wish.at, finish_by=wish.finish_by)
    crew = _crew(site, ready.technicians)
    yard = _same_yard(ready, site, morning)
    if yard is None or not _same_ground(ready, yard, site, crew=crew):
        return None
    items = due_items(site, wish.at, work=wish.work)
    free = yard.walkable([footing(site, t.start, yard) for t in crew])
    outlooks = []
    for outlook in ready.outlooks:
        works = unit_works(
            site, items, outfit=outlook.outfit, with_looks=wish.with_looks, without=wish.without
        )
        kept = _Kept(site, yard, free, outlook).outlook(works)
        if kept is None:
            return None
        outlooks.append(kept)
    return Prepared(
        site=site,
        morning=morning,
        technicians=crew,
        items=items,
        yard=yard,
        outlooks=_with_walks(outlooks, yard, fixed=fixed_points(site, crew, yard)),
        left=_left(ready, wish, outlooks),
        keep=wish.keep,
    )


def _crew(site: Site, before: Sequence[Technician]) -> tuple[Technician, ...]:
    now = {t.name: t for t in site.technicians}
    return tuple(now[t.name] for t in before)


def _same_yard(ready: Prepared, site: Site, morning: Morning) -> Yard | None:
    """The morning's ground from now on, None where a unit stands otherwise or a span is over."""
    before = {unit.unit: unit for unit in ready.site.units}
    if len(before) != len(site.units):
        return None
    for unit in site.units:
        known = {placed.posture for placed in ready.yard.stances[unit.unit]}
        same = unit.model_copy(update={"posture": before[unit.unit].posture})
        if unit.posture not in known or same != before[unit.unit]:
            return None
    gone_ms = ready.morning.ms(morning.zero)
    if any(0 < begin <= gone_ms for begin in ready.yard.begins):
        return None
    return Yard(
        ready.yard.stances,
        tuple((max(0, begin - gone_ms), ground) for begin, ground in ready.yard.grounds),
    )


def _same_ground(ready: Prepared, yard: Yard, site: Site, *, crew: Sequence[Technician]) -> bool:
    """Whether the technicians stand on the parts of the free ground that they came from."""
    then = [footing(ready.site, t.start, ready.yard) for t in ready.technicians]
    now = [footing(site, t.start, yard) for t in crew]
    return bool(shapely.equals_exact(yard.walkable(then), yard.walkable(now)))


def _left(ready: Prepared, wish: Wish, outlooks: Sequence[Outlook]) -> tuple[LeftOut, ...]:
    """What no search can serve: told by the caller, for nobody to do, and cut off as before."""
    works = [o.works for o in outlooks]
    nobody = nobody_can(works)
    open_ = {(w.unit.unit, j.joint.name) for each in works for w in each for j in w.joints}
    reached = {unit for outlook in outlooks for unit in outlook.visits}
    cut_off = [r for r in ready.left if (r.unit, r.joint) in open_ and r.unit not in reached]
    return (*wish.left, *nobody, *cut_off)


@dataclass(frozen=True, slots=True, eq=False)
class _Kept:
    """What one outfit keeps of the morning: units with the same work as they are, others anew."""

    site: Site
    yard: Yard
    free: BaseGeometry
    before: Outlook

    def outlook(self, works: tuple[UnitWork, ...]) -> Outlook | None:
        """The outlook for what is left; None where a unit is asked for a posture not closed."""
        old = {work.unit.unit: work for work in self.before.works}
        same_slack = way_slack_ms(len(works)) == way_slack_ms(len(old))
        surveyed: dict[str, Surveyed] = {}
        visits: dict[str, UnitVisit] = {}
        for work in works:
            unit = work.unit.unit
            if unit in old and _same_work(work, old[unit]):
                surveyed[unit] = self.before.surveyed[unit]
                visit = self.before.visits.get(unit)
                if visit is not None and not same_slack:
                    visit = self._again(visit, slack_ms=way_slack_ms(len(works)))
            else:
                found = self._surveyed(work)
                if found is None:
                    return None
                surveyed[unit] = found
                visit = self._visit(found, work, slack_ms=way_slack_ms(len(works)))
            if visit is not None:
                visits[unit] = visit
        less: dict[str, tuple[UnitVisit, ...]] = dict.fromkeys(visits, ())
        return replace(self.before, works=works, surveyed=surveyed, visits=visits, lesser=less)

    def _again(self, visit: UnitVisit, *, slack_ms: int) -> UnitVisit:
        """The same visit with another choice of its ways."""
        task = UnitTask(visit.work, visit.items, visit.nodes, visit.postures)
        return unit_visit(
            task, visit.walks, rules=self.site.rules, outfit=self.before.outfit, slack_ms=slack_ms
        )

    def _surveyed(self, work: UnitWork) -> Surveyed | None:
        """Stands at a unit where less is to do than in the morning."""
        stances = {placed.posture: placed for placed in self.yard.stances[work.unit.unit]}
        terms = terms_of(self.free, self.site.rules, self.before.outfit.reach)
        poses = poses_for(
            [work],
            {work.unit.unit: as_posed(stances[work.unit.posture])},
            terms=terms,
            may_move=self.site.rules.posture_moves,
        )
        if not {p.placed.posture for p in poses[work.unit.unit].poses} <= stances.keys():
            return None
        found = survey([work], poses, terms=terms, changed=newly_closed([poses]))
        return found[work.unit.unit]

    def _visit(self, surveyed: Surveyed, work: UnitWork, *, slack_ms: int) -> UnitVisit | None:
        rules, outfit = self.site.rules, self.before.outfit
        task = unit_task(surveyed.reach, work.joints, rules=rules, outfit=outfit)
        if task is None:
            return None
        feet = [node.foot_m for node in task.nodes]
        walks = inside_walks(feet, self.yard.ground_for(feet), speed_m_s=outfit.speed_m_s)
        visit = unit_visit(task, walks, rules=rules, outfit=outfit, slack_ms=slack_ms)
        return visit if visit.ways else None


def _same_work(a: UnitWork, b: UnitWork) -> bool:
    """Whether the same is to be done; what a type is like is no question of the hour."""
    return (a.unit, a.looks, a.cannot, _jobs(a)) == (b.unit, b.looks, b.cannot, _jobs(b))


def _jobs(work: UnitWork) -> list[tuple[object, ...]]:
    return [(j.joint.name, j.due, j.fittings, j.weight) for j in work.joints]


def _with_walks(outlooks: Sequence[Outlook], yard: Yard, *, fixed: Array) -> tuple[Outlook, ...]:
    """The outlooks over one numbering of points, with the walks between them."""
    points, row = numbered(fixed, [v for o in outlooks for v in o.visits.values()])
    starts = range(0, len(fixed), 2)
    walks: dict[float, Walks] = {}
    for outlook in outlooks:
        speed = outlook.outfit.speed_m_s
        if speed not in walks:
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
