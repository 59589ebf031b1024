"""Units in the rest of a round: those that nothing has changed for as they were, others anew."""

from dataclasses import dataclass, replace

import shapely
from shapely.geometry.base import BaseGeometry

from greaseroute.rounds.inside import BEST_SLOPE, InsideWalks, inside_walks
from greaseroute.rounds.prepare import Outlook
from greaseroute.rounds.survey import (
    NEAR_M,
    Surveyed,
    as_posed,
    newly_closed,
    poses_for,
    survey,
    terms_of,
)
from greaseroute.rounds.visits import UnitTask, UnitVisit, unit_task, unit_visit, way_slack_ms
from greaseroute.rounds.work import UnitWork
from greaseroute.rounds.yard import Yard
from greaseroute.site.model import Site


@dataclass(frozen=True, slots=True, eq=False)
class GroundNow:
    """The ground of a rest: all of it, what can be walked to, and where it is not as it was."""

    yard: Yard
    free: BaseGeometry
    changed: BaseGeometry

    @property
    def is_changed(self) -> bool:
        """Whether it differs anywhere."""
        return not self.changed.is_empty

    def is_far(self, unit: str) -> bool:
        """Whether a unit's stands are out of the change's reach."""
        if not self.is_changed:
            return True
        outlines = [placed.outline for placed in self.yard.stances[unit]]
        return bool(shapely.distance(outlines, self.changed).min() > NEAR_M)

    def keeps_walks(self, visit: UnitVisit, *, speed_m_s: float) -> bool:
        """Whether no walk inside a unit can have changed: none is so long that it could get there.

        A way to the changed ground and back is no shorter than twice the distance to it.
        """
        if not self.is_changed:
            return True
        within = shapely.box(*visit.walks.points.min(axis=0), *visit.walks.points.max(axis=0))
        least_s = 2 * within.distance(self.changed) / (speed_m_s * BEST_SLOPE)
        return bool((visit.walks.travel.time_s <= least_s).all())


@dataclass(frozen=True, slots=True, eq=False)
class KeptUnits:
    """What one outfit keeps of the morning's ``before`` on the ground as it is now."""

    site: Site
    ground: GroundNow
    before: Outlook

    def outlook(self, works: tuple[UnitWork, ...]) -> Outlook | None:
        """The outlook for what is left, without walks between units.

        None where a unit is asked for a posture that its ground is not closed for, or where
        ground that changed leaves a unit without a stand.
        """
        surveyed: dict[str, Surveyed] = {}
        visits: dict[str, UnitVisit] = {}
        slack_ms = way_slack_ms(len(works))
        for work in works:
            unit = work.unit.unit
            found = self._surveyed(work)
            if found is None:
                return None
            surveyed[unit] = found
            visit = self._visit(found, work, slack_ms=slack_ms)
            if visit is not None:
                visits[unit] = visit
            elif found is not self.before.surveyed.get(unit) and self.ground.is_changed:
                return None
        less: dict[str, tuple[UnitVisit, ...]] = dict.fromkeys(visits, ())
        return replace(self.before, works=works, surveyed=surveyed, visits=visits, lesser=less)

    def _surveyed(self, work: UnitWork) -> Surveyed | None:
        """Stands at a unit: as they were, where nothing has changed for it."""
        unit = work.unit.unit
        old = self.before.surveyed.get(unit)
        if old is not None and _same_work(work, old.reach.work) and self.ground.is_far(unit):
            return old
        stances = {placed.posture: placed for placed in self.ground.yard.stances[unit]}
        terms = terms_of(self.ground.free, self.site.rules, self.before.outfit.reach)
        poses = poses_for(
            [work],
            {unit: as_posed(stances[work.unit.posture])},
            terms=terms,
            may_move=self.site.rules.posture_moves,
        )
        if not {p.placed.posture for p in poses[unit].poses} <= stances.keys():
            return None
        return survey([work], poses, terms=terms, changed=newly_closed([poses]))[unit]

    def _visit(self, surveyed: Surveyed, work: UnitWork, *, slack_ms: int) -> UnitVisit | None:
        """The visit to a unit, with the walks inside it as they were where they can be."""
        unit, speed = work.unit.unit, self.before.outfit.speed_m_s
        old = self.before.visits.get(unit)
        same = surveyed is self.before.surveyed.get(unit)
        if old is None and same:
            return None
        if old is not None and same and self.ground.keeps_walks(old, speed_m_s=speed):
            if way_slack_ms(len(self.before.works)) == slack_ms:
                return old
            task = UnitTask(old.work, old.items, old.nodes, old.postures)
            return self._of_task(task, old.walks, slack_ms=slack_ms)
        rules, outfit = self.site.rules, self.before.outfit
        fresh = unit_task(surveyed.reach, work.joints, rules=rules, outfit=outfit)
        if fresh is None:
            return None
        feet = [node.foot_m for node in fresh.nodes]
        walks = inside_walks(feet, self.ground.yard.ground_for(feet), speed_m_s=speed)
        return self._of_task(fresh, walks, slack_ms=slack_ms)

    def _of_task(self, task: UnitTask, walks: InsideWalks, *, slack_ms: int) -> UnitVisit | None:
        visit = unit_visit(
            task, walks, rules=self.site.rules, outfit=self.before.outfit, slack_ms=slack_ms
        )
        return visit if visit.ways else None


def _same_work(a: UnitWork, b: UnitWork) -> bool:
    """Whether the same is to be done; what a type is like is no question of the hour."""
    return (a.unit, a.looks, a.cannot, _jobs(a)) == (b.unit, b.looks, b.cannot, _jobs(b))


def _jobs(work: UnitWork) -> list[tuple[object, ...]]:
    return [(j.joint.name, j.due, j.fittings, j.weight) for j in work.joints]
