"""Everything before the search: what is due, where one stands for it, which ways there are."""

from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from shapely.geometry import Point
from shapely.geometry.base import BaseGeometry

from greaseroute.errors import UnknownName
from greaseroute.intervals.worklist import DueItem, checks_due
from greaseroute.plan.round import LeftOut
from greaseroute.rounds.left_out import nobody_can, takes_more, whole_unit
from greaseroute.rounds.people import hands_of, spans_for
from greaseroute.rounds.request import Keep, RoundRequest
from greaseroute.rounds.standing import Standing
from greaseroute.site.crew import Technician
from greaseroute.site.model import Site
from greaseroute.site.morning import Morning, morning_of, unit_window
from greaseroute.site.swept import surroundings
from greaseroute.visits.all_units import Levels, Look, Visiting, poses_at_units
from greaseroute.visits.calls import Calls, without_calls
from greaseroute.visits.poses import Surveyed, apart, newly_closed, surveyed
from greaseroute.visits.reach import Terms, terms_of
from greaseroute.visits.visit import UnitVisit, way_slack_ms
from greaseroute.visits.work import Outfit, UnitWork, due_items, outfit_of, unit_works
from greaseroute.walk.no_path import NoPath
from greaseroute.walk.tables import Array, Point2, Walks, walks_between
from greaseroute.walk.ways_out import WayOut
from greaseroute.walk.yard import Stances, Yard, footing

Progress = Callable[[str], None]


@dataclass(frozen=True, slots=True, eq=False)
class Outlook:
    """The site as technicians of one outfit find it: work, stands and visits, unit by unit.

    ``visits`` serve all that is in reach; ``lesser`` ones less, for when time is short.
    ``walks`` are between the fixed points and the ends of all ways, numbered by ``row``.
    """

    outfit: Outfit
    works: tuple[UnitWork, ...]
    surveyed: dict[str, Surveyed]
    visits: dict[str, UnitVisit]
    lesser: dict[str, tuple[UnitVisit, ...]]
    walks: Walks
    row: Mapping[Point2, int]


@dataclass(frozen=True, slots=True, eq=False)
class Prepared:
    """A round ready to be searched. ``left`` is what no search can serve, apart from reach.

    ``without`` are fittings (unit, joint, fitting) that are due and not asked for.
    """

    site: Site
    morning: Morning
    technicians: tuple[Technician, ...]
    items: tuple[DueItem, ...]
    yard: Yard
    outlooks: tuple[Outlook, ...]
    left: tuple[LeftOut, ...]
    keep: Keep | None = None
    without: frozenset[tuple[str, str, str]] = frozenset()
    traffic: tuple[WayOut, ...] = ()


def _looks(site: Site, request: RoundRequest) -> dict[str, tuple[str, ...]]:
    """The daily checks asked for, by unit: those due, all, none."""
    if not request.with_looks:
        return {}
    if not request.every_look:
        return checks_due(site, request.at)
    return {u.unit: tuple(look.name for look in site.machine(u).looks) for u in site.units}


def prepare(
    site: Site,
    request: RoundRequest,
    *,
    progress: Progress,
    standing: Standing | None = None,
    given_up: Collection[tuple[str, str]] = (),
) -> Prepared:
    """Work, ground, stands, tours inside units and ways. Raises UnknownName, PostureRefused.

    ``standing``: the site as other rounds have found it. ``given_up``: postures (unit, posture)
    that nobody is asked for.
    """
    morning = morning_of(site, request.at, finish_by=request.finish_by)
    crew = _crew(site, request.technicians)
    items = due_items(site, request.at, work=request.work)
    outfits = tuple(dict.fromkeys(outfit_of(t, site) for t in crew))
    looks = _looks(site, request)
    works = [
        unit_works(site, items, outfit=o, looks=looks, without=request.without) for o in outfits
    ]
    progress("placing machines, free ground")
    standing = standing or Standing(site)
    now = standing.now
    calls = calls_on(site, morning, now, given_up=given_up)
    works = [tuple(without_calls(w, calls, now[w.unit.unit][0]) for w in each) for each in works]
    traffic = standing.traffic(morning)
    yard, look = _yard_and_look(
        site, morning, outfits=outfits, works=works, crew=crew, calls=calls, standing=standing,
        traffic=traffic, progress=progress,
    )  # fmt: skip
    progress("walks and tours inside the units")
    outlooks = _outlooks(site, yard, outfits=outfits, works=works, look=look,
                         fixed=fixed_points(site, crew, yard))  # fmt: skip
    starts = _starts(site, crew, yard)
    left = [
        *request.left,
        *takes_more(works),
        *nobody_can(works),
        *_cut_off(yard, outlooks, starts=starts),
    ]
    return Prepared(
        site, morning, crew, items, yard, outlooks, tuple(left), request.keep, request.without,
        traffic,
    )  # fmt: skip


def calls_on(
    site: Site, morning: Morning, now: Stances, *, given_up: Collection[tuple[str, str]] = ()
) -> Calls:
    """Which calls can be made this morning, with every unit as it stands."""
    hands = hands_of(site, morning)
    outlines = {unit: [placed[0].outline] for unit, placed in now.items()}
    return Calls(
        rules=site.rules,
        around=surroundings(site.ground, outlines, gap_m=site.rules.swing_gap_m),
        people=lambda machine: spans_for(hands, machine),
        window=lambda unit: unit_window(unit, morning),
        clock=lambda at: f"{morning.moment(at):%H:%M}",
        given_up=given_up,
    )


def with_levels(ready: Prepared, levels: Levels = UnitWork.levels) -> Prepared:
    """The same round with visits that serve fewer joints of a unit as well: by default the
    weightier ones."""
    outlooks = _outlooks(
        ready.site,
        ready.yard,
        outfits=[o.outfit for o in ready.outlooks],
        works=[o.works for o in ready.outlooks],
        look=lambda number, work: ready.outlooks[number].surveyed[work.unit.unit],
        fixed=fixed_points(ready.site, ready.technicians, ready.yard),
        levels=levels,
    )
    return replace(ready, outlooks=outlooks)


def _crew(site: Site, names: Sequence[str] | None) -> tuple[Technician, ...]:
    if names is None:
        return site.technicians
    known = {t.name: t for t in site.technicians}
    for name in names:
        if name not in known:
            raise UnknownName(
                "technician", repr(name), limit=", ".join(known), next_step="see site.toml"
            )
    return tuple(known[name] for name in names)


# Long: the ground is laid twice, and each step needs the one before.
def _yard_and_look(
    site: Site,
    morning: Morning,
    *,
    outfits: Sequence[Outfit],
    works: Sequence[Sequence[UnitWork]],
    crew: Sequence[Technician],
    calls: Calls,
    standing: Standing,
    traffic: Sequence[WayOut],
    progress: Progress,
) -> tuple[Yard, Look]:
    """Ground and stands. A unit closes the ground of every posture that it is worked in."""
    yard = standing.yard(standing.now, morning, traffic=traffic)
    progress("stands and postures")
    terms = _terms(site, yard, crew=crew, outfits=outfits)
    poses = poses_at_units(works, standing.posed, terms=terms, calls=calls)
    poses = apart(poses, calls)
    wider: Stances = {
        unit: tuple(
            {
                p.placed.posture: p.placed
                for each in poses
                if unit in each
                for p in each[unit].poses
            }.values()
        )
        or placed
        for unit, placed in standing.now.items()
    }
    changed = newly_closed(poses)
    if not changed.is_empty:
        yard = standing.yard(wider, morning, traffic=traffic)
    terms = _terms(site, yard, crew=crew, outfits=outfits)

    def look(number: int, work: UnitWork) -> Surveyed:
        found = poses[number][work.unit.unit]
        return surveyed(work, found, terms=terms[number], changed=changed)

    return yard, look


def _terms(
    site: Site, yard: Yard, *, crew: Sequence[Technician], outfits: Sequence[Outfit]
) -> list[Terms]:
    free = yard.walkable(_starts(site, crew, yard))
    machines = {unit: placed[0].outline for unit, placed in yard.stances.items()}
    return [terms_of(free, site, outfit.reach, machines=machines) for outfit in outfits]


def _starts(site: Site, crew: Sequence[Technician], yard: Yard) -> list[Point]:
    return [footing(site, t.start, yard) for t in crew]


def fixed_points(site: Site, crew: Sequence[Technician], yard: Yard) -> Array:
    """The first points of every table: start and finish of each technician, then the stores."""
    ends = [footing(site, name, yard) for t in crew for name in (t.start, t.finish)]
    stores = [p.point for p in site.ground.places if p.kind == "store"]
    return np.asarray([(p.x, p.y) for p in (*ends, *stores)])


def _outlooks(
    site: Site,
    yard: Yard,
    *,
    outfits: Sequence[Outfit],
    works: Sequence[tuple[UnitWork, ...]],
    look: Look,
    fixed: Array,
    levels: Levels | None = None,
) -> tuple[Outlook, ...]:
    """Visits of each outfit over one numbering of points: the fixed ones, then the ways' ends."""
    slacks_ms = [way_slack_ms(len(each)) for each in works]
    seen = Visiting(site, yard, outfits, slacks_ms, look, levels).at_units(works)
    surveys = [{unit: survey for unit, (survey, _) in each.items()} for each in seen]
    visits = [{unit: some for unit, (_, some) in each.items() if some} for each in seen]
    points, row = numbered(fixed, [v for each in visits for vs in each.values() for v in vs])
    full = [{unit: vs[0] for unit, vs in each.items()} for each in visits]
    less = [{unit: vs[1:] for unit, vs in each.items()} for each in visits]
    walks = {
        speed: walks_between(points, yard.grounds, speed_m_s=speed)
        for speed in dict.fromkeys(o.speed_m_s for o in outfits)
    }
    return tuple(
        Outlook(o, w, s, v, some, walks[o.speed_m_s], row)
        for o, w, s, v, some in zip(outfits, works, surveys, full, less, strict=True)
    )


def numbered(fixed: Array, visits: Sequence[UnitVisit]) -> tuple[Array, dict[Point2, int]]:
    """Every point once: the fixed ones, then the ends of all ways; and the numbers of the ends."""
    ends = dict.fromkeys(end for visit in visits for end in visit.ends)
    row = {end: len(fixed) + k for k, end in enumerate(ends)}
    return np.vstack([fixed, np.asarray(list(ends)).reshape(-1, 2)]), row


def _cut_off(yard: Yard, outlooks: Sequence[Outlook], *, starts: Sequence[Point]) -> list[LeftOut]:
    """Units with free ground beside them that nobody can walk to, with what is in the way."""
    reached = {unit for outlook in outlooks for unit in outlook.visits}
    free = yard.walkable(starts)
    found: dict[str, list[LeftOut]] = {}
    for outlook in outlooks:
        for work in outlook.works:
            unit = work.unit.unit
            if work.joints and unit not in reached and unit not in found:
                found[unit] = _why_cut_off(yard, work, free=free, start=starts[0])
    return [record for records in found.values() for record in records]


def _why_cut_off(yard: Yard, work: UnitWork, *, free: BaseGeometry, start: Point) -> list[LeftOut]:
    """Reasons for a unit without a stand, if it is the way there that is missing; else none."""
    from shapely.ops import nearest_points

    ground = yard.grounds[0][1]
    beside = nearest_points(ground.free, Point(work.unit.x_m, work.unit.y_m))[0]
    if free.distance(beside) <= 1e-6:
        return []
    way = ground.path(start, beside)
    if not isinstance(way, NoPath):
        return []
    return whole_unit(work, f"cut off: {way.reason}", helps=way.helps)
