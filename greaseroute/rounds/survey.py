"""Where one stands at every unit, for one outfit; which postures to ask for."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import shapely
from shapely.geometry.base import BaseGeometry

from greaseroute.catalogue.placed import PlacedMachine
from greaseroute.rounds.nodes import Item
from greaseroute.rounds.reaching import Posed, Poses, Terms, UnitReach, helping_poses, reach_unit
from greaseroute.rounds.work import UnitWork
from greaseroute.site.crew import Reach, WorkingRules
from greaseroute.walk.footprint import closed_ground
from greaseroute.walk.site_ground import ClosedBy

# Stands and clear points lie nearer to their unit's outline than this.
NEAR_M = 12.0


@dataclass(frozen=True, slots=True, eq=False)
class Surveyed:
    """One unit: stands in each posture it is worked in; for items out of reach, what would help."""

    reach: UnitReach
    elsewhere: Mapping[Item, str]


def as_posed(placed: PlacedMachine, closed_by: ClosedBy = closed_ground) -> Posed:
    """A placed machine with the ground it closes."""
    return Posed(placed, tuple(closed_by(placed)))


def terms_of(free: BaseGeometry, rules: WorkingRules, reach: Reach) -> Terms:
    """The terms on which a technician works."""
    return Terms(free, rules.clearance_m, reach)


def poses_for(
    works: Sequence[UnitWork],
    now: Mapping[str, Posed],
    *,
    terms: Terms,
    may_move: bool,
) -> dict[str, Poses]:
    """For each unit the postures it is to be worked in, with every unit as it stands."""
    return {
        work.unit.unit: helping_poses(work, now[work.unit.unit], terms=terms, may_move=may_move)
        for work in works
    }


def survey(
    works: Sequence[UnitWork], poses: Mapping[str, Poses], *, terms: Terms, changed: BaseGeometry
) -> dict[str, Surveyed]:
    """Stands at each unit on the ground that is left by all units in all their postures.

    ``changed`` is the ground that further postures close: far from it a unit that keeps its
    posture has the stands it had.
    """
    return {
        work.unit.unit: surveyed(work, poses[work.unit.unit], terms=terms, changed=changed)
        for work in works
    }


def surveyed(work: UnitWork, poses: Poses, *, terms: Terms, changed: BaseGeometry) -> Surveyed:
    """The same for one unit."""
    outline = poses.poses[0].placed.outline
    same = len(poses.poses) == 1 and outline.distance(changed) > NEAR_M
    reach = poses.here if same else reach_unit(work, poses.poses, terms=terms)
    return Surveyed(reach, poses.elsewhere)


def newly_closed(poses: Sequence[Mapping[str, Poses]]) -> BaseGeometry:
    """Ground that units close in postures which they do not stand in yet."""
    shapes = [
        shape
        for each in poses
        for unit in each.values()
        for pose in unit.poses[1:]
        for shape in pose.closed
    ]
    return shapely.union_all(shapes)
