"""Where one stands at every unit, for one outfit; which postures to ask for."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from shapely.geometry.base import BaseGeometry

from greaseroute.catalogue.placed import PlacedMachine
from greaseroute.rounds.nodes import Item
from greaseroute.rounds.reaching import Posed, Poses, Terms, UnitReach, helping_poses, reach_unit
from greaseroute.rounds.work import UnitWork
from greaseroute.site.crew import Reach, WorkingRules
from greaseroute.walk.footprint import closed_ground


@dataclass(frozen=True, slots=True, eq=False)
class Surveyed:
    """One unit: stands in each posture it is worked in; for items out of reach, what would help."""

    reach: UnitReach
    elsewhere: Mapping[Item, str]


def as_posed(placed: PlacedMachine) -> Posed:
    """A placed machine with the ground it closes."""
    return Posed(placed, tuple(closed_ground(placed)))


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
    works: Sequence[UnitWork], poses: Mapping[str, Poses], *, terms: Terms
) -> dict[str, Surveyed]:
    """Stands at each unit on the ground that is left by all units in all their postures."""
    return {
        work.unit.unit: Surveyed(
            reach_unit(work, poses[work.unit.unit].poses, terms=terms),
            poses[work.unit.unit].elsewhere,
        )
        for work in works
    }
