"""What one day chooses from: the lessons at each machine, and at most how many pairs there are."""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import product

import numpy as np

from greaseroute.plan.learning import LearningCurve
from greaseroute.site.model import Site
from greaseroute.solvers.cp.coverage import Coverage, CoverageProblem
from greaseroute.solvers.cp.coverage_model import cover
from greaseroute.training.candidates import NEARLY_DUE, Candidate, Pair
from greaseroute.units import ms
from greaseroute.visits.work import JointWork, UnitWork

SHOW_S = 120.0
"""Time in which the mentor shows a family's kind of joint before the learner does it: common
practice, no source; a setting."""

FEW_SETS = 40  # sets of joints of one machine up to which all are looked at
FEW_JOINTS = 40  # joints on a site up to which that is done at each machine


@dataclass(frozen=True, slots=True)
class DaySettings:
    """What may be set for a first day; the defaults are those of the command.

    ``window_min``: time there is; None: from the learner's start to the shift start.
    """

    curve: LearningCurve = field(default_factory=LearningCurve)
    show_s: float = SHOW_S
    nearly: float = NEARLY_DUE
    window_min: float | None = None
    seed: int = 1
    work: float = 0.7


@dataclass(frozen=True, slots=True, eq=False)
class Field:
    """What one day chooses from: candidates in order, how often each kind was done before."""

    site: Site
    found: tuple[Candidate, ...]
    done: Counter[str]
    window_ms: int
    settings: DaySettings


@dataclass(frozen=True, slots=True)
class JointSets:
    """Which sets of joints of one machine a learner may be given: of each kind one or none.

    Where there are too many, of each kind the one quickest by itself.
    """

    kind_of: dict[tuple[str, str], str]
    seconds: dict[tuple[str, str], float]

    @property
    def few(self) -> bool:
        """Whether there are so few joints that every set is looked at."""
        return len(self.kind_of) <= FEW_JOINTS

    def of(self, work: UnitWork) -> list[tuple[JointWork, ...]]:
        """All joints (the fullest visit), then every set."""
        kinds: dict[str, list[JointWork]] = {}
        for joint in work.joints:
            kind = self.kind_of.get((work.unit.unit, joint.joint.name))
            if kind is not None:
                kinds.setdefault(kind, []).append(joint)
        count = np.prod([len(joints) + 1 for joints in kinds.values()], dtype=float)
        if count > FEW_SETS or not self.few:
            kinds = {
                kind: [min(joints, key=lambda j: self.seconds[work.unit.unit, j.joint.name])]
                for kind, joints in kinds.items()
            }
        return [work.joints, *_sets(list(kinds.values()), most=5 if self.few else 2)]


def _sets(kinds: Sequence[Sequence[JointWork]], *, most: int) -> list[tuple[JointWork, ...]]:
    """One or none of each kind; of more than ``most`` kinds only one, all, and all but one."""
    if len(kinds) <= most:
        picks = product(*([None, *joints] for joints in kinds))
        return [found for pick in picks if (found := tuple(j for j in pick if j is not None))]
    first = [joints[0] for joints in kinds]
    fewer = [tuple(j for j in first if j is not one) for one in first]
    return [tuple(first), *fewer, *((one,) for one in first)]


def undominated(found: Sequence[Candidate]) -> tuple[Candidate, ...]:
    """One candidate for each machine and pair: the quickest. All where they are few."""
    if len(found) <= FEW_JOINTS:
        return tuple(found)
    best: dict[tuple[str, Pair], Candidate] = {}
    for candidate in found:
        key = candidate.unit, candidate.pair
        if key not in best or candidate.standard_s < best[key].standard_s:
            best[key] = candidate
    kept = {c.key for c in best.values()}
    return tuple(c for c in found if c.key in kept)


def coverage_problem(day: Field) -> CoverageProblem:
    """The day's choice as integers, each time the least there can be: isolation once a machine,
    pumping at the learner's pace, showing; no walking, no settling. No walk meets more."""
    kinds = list(dict.fromkeys(c.kind for c in day.found))
    pairs = list(dict.fromkeys(c.pair for c in day.found))
    units = [unit.unit for unit in day.site.units]
    per_kind = Counter(kind for _, kind in pairs)
    most = max(per_kind.values(), default=1)
    times = [[_least_ms(c, day, nth=n + 1) for n in range(most)] for c in day.found]

    def column(values: Sequence[int]) -> np.ndarray[tuple[int], np.dtype[np.int64]]:
        return np.array(values, dtype=np.int64)

    return CoverageProblem(
        time_ms=np.array(times, dtype=np.int64).reshape(len(day.found), most),
        pair=column([pairs.index(c.pair) for c in day.found]),
        kind=column([kinds.index(c.kind) for c in day.found]),
        unit=column([units.index(c.unit) for c in day.found]),
        visit_ms=column([ms(day.site.rules.isolation_s)] * len(units)),
        show_ms=column([ms(day.settings.show_s)] * len(pairs)),
        window_ms=day.window_ms,
    )


def _least_ms(candidate: Candidate, day: Field, *, nth: int) -> int:
    """Time of a joint without settling there: pumping, and what a learner takes longer."""
    factor = day.settings.curve.factor(day.done[candidate.kind] + nth)
    pump_s = sum(f.pump_s for f in candidate.work.fittings)
    return ms(pump_s + candidate.standard_s * (factor - 1))


def most_pairs(day: Field) -> Coverage:
    """No walk in the window meets more pairs than ``most_pairs`` of this."""
    return cover(coverage_problem(day), seed=day.settings.seed, work=day.settings.work)
