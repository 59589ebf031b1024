"""What each outfit finds and does at each unit, worked out unit by unit, side by side."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import TypeVar

from greaseroute.processes import side_by_side
from greaseroute.site.model import Site
from greaseroute.visits.calls import Calls
from greaseroute.visits.nodes import Item
from greaseroute.visits.poses import Poses, Surveyed, helping_poses
from greaseroute.visits.reach import Posed, Terms, UnitReach
from greaseroute.visits.visit import UnitTask, UnitVisit, unit_task, unit_visit
from greaseroute.visits.walks_inside import Beside, beside, inside_walks
from greaseroute.visits.work import JointWork, Outfit, UnitWork
from greaseroute.walk.kernels import load_kernels
from greaseroute.walk.tables import Point2, parts_of
from greaseroute.walk.yard import Yard

T = TypeVar("T")
Look = Callable[[int, UnitWork], Surveyed]  # how an outfit (by number) finds a unit
Levels = Callable[[UnitWork], Sequence[tuple[JointWork, ...]]]  # sets of joints, the fullest first


Works = Sequence[Sequence[tuple[int, UnitWork]]]  # at each unit, by the numbers of the outfits


def _by_unit(works: Sequence[Sequence[UnitWork]]) -> Works:
    """Who does what at each unit: units in turn are what can be worked out side by side."""
    units: dict[str, list[tuple[int, UnitWork]]] = {}
    for outfit, each in enumerate(works):
        for work in each:
            units.setdefault(work.unit.unit, []).append((outfit, work))
    return list(units.values())


def _by_outfit(units: Works, found: Sequence[Sequence[T]], *, outfits: int) -> list[dict[str, T]]:
    """What was found at each unit, for each outfit by the names of the units."""
    each: list[dict[str, T]] = [{} for _ in range(outfits)]
    for works, values in zip(units, found, strict=True):
        for (outfit, work), value in zip(works, values, strict=True):
            each[outfit][work.unit.unit] = value
    return each


def poses_at_units(
    works: Sequence[Sequence[UnitWork]],
    posed: Mapping[str, Posed],
    *,
    terms: Sequence[Terms],
    calls: Calls,
) -> list[dict[str, Poses]]:
    """For each outfit the postures that units are to be worked in, with all as they stand."""
    units = _by_unit(works)

    def poses_at(number: int) -> list[Poses]:
        return [
            helping_poses(work, posed[work.unit.unit], terms=terms[outfit], calls=calls)
            for outfit, work in units[number]
        ]

    common = [*posed.values(), *(work for each in works for work in each)]
    found = side_by_side(poses_at, len(units), common=common, meanwhile=load_kernels)
    return _by_outfit(units, found, outfits=len(works))


Seen = tuple[Surveyed, tuple[UnitVisit, ...]]


@dataclass(frozen=True, slots=True, eq=False)
class Visiting:
    """What it takes to work out the visits to any unit; ``slacks_ms`` by outfit.

    With ``levels`` one for each of the sets of joints that it names, such as the weightier alone.
    """

    site: Site
    yard: Yard
    outfits: Sequence[Outfit]
    slacks_ms: Sequence[int]
    look: Look
    levels: Levels | None = None

    def at_units(self, works: Sequence[Sequence[UnitWork]]) -> list[dict[str, Seen]]:
        """For each outfit stands and visits (the fullest first) at each unit it works at."""
        units = _by_unit(works)
        found = side_by_side(
            lambda number: self._at(units[number]),
            len(units),
            common=[*(w for each in works for w in each), *parts_of(self.yard.grounds)],
            meanwhile=self._look_round,
        )
        return _by_outfit(units, found, outfits=len(works))

    def _look_round(self) -> None:
        for _, ground in self.yard.grounds:
            ground.look_round()

    def _at(self, works: Sequence[tuple[int, UnitWork]]) -> list[Seen]:
        """The stands and the visits of every outfit at one unit."""
        surveys = [self.look(outfit, work) for outfit, work in works]
        tasks = [
            self._tasks(outfit, survey.reach)
            for (outfit, _), survey in zip(works, surveys, strict=True)
        ]
        feet = [node.foot_m for some in tasks for task in some for node in task.nodes]
        ground = _Cut(self.yard, feet)
        return [
            (survey, self._visits(outfit, some, ground))
            for (outfit, _), survey, some in zip(works, surveys, tasks, strict=True)
        ]

    def _tasks(self, number: int, reach: UnitReach) -> tuple[UnitTask, ...]:
        """What an outfit does at a unit, once for each set of items, the most first."""
        found: dict[frozenset[Item], UnitTask] = {}
        rules, outfit = self.site.rules, self.outfits[number]
        work = reach.work
        levels = [*self.levels(work), *reach.with_fewer_moves()] if self.levels else [work.joints]
        for joints in levels:
            task = unit_task(reach, joints, rules=rules, outfit=outfit)
            if task is not None:
                found.setdefault(task.items, task)
        return tuple(found.values())

    def _visits(
        self, number: int, tasks: Sequence[UnitTask], ground: "_Cut"
    ) -> tuple[UnitVisit, ...]:
        rules, outfit, slack_ms = self.site.rules, self.outfits[number], self.slacks_ms[number]
        found = []
        for task in tasks:
            feet = [node.foot_m for node in task.nodes]
            walks = inside_walks(feet, ground.beside(feet), speed_m_s=outfit.speed_m_s)
            found.append(unit_visit(task, walks, rules=rules, outfit=outfit, slack_ms=slack_ms))
        return tuple(visit for visit in found if visit.ways)


@dataclass(frozen=True, slots=True, eq=False)
class _Cut:
    """The ground round one unit, cut out once for all that look at it; ``feet`` of them all."""

    yard: Yard
    feet: Sequence[Point2]
    _done: dict[int, Beside] = field(default_factory=dict)

    def beside(self, feet: Sequence[Point2]) -> Beside:
        """The ground at the hours at which all of ``feet`` are free, round all feet there."""
        ground = self.yard.ground_for(feet)
        return self._done.setdefault(id(ground), beside(self.feet, ground))
