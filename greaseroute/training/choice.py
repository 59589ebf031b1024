"""The choice of one day: what it chooses from, as integers, and the joints chosen."""

import math
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import pairwise

import numpy as np

from greaseroute.plan.learning import LearningCurve
from greaseroute.site.model import Site
from greaseroute.solvers.cp.coverage import Coverage, CoverageProblem
from greaseroute.solvers.cp.coverage_model import cover
from greaseroute.training.candidates import NEARLY_DUE, Candidate
from greaseroute.units import ms
from greaseroute.visits.estimate import AROUND_S, DETOUR

SHOW_S = 120.0
"""Time in which the mentor shows a family's kind of joint before the learner does it: common
practice, no source; a setting."""


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


def visit_seconds(day: Field) -> float:
    """Time of a visit whatever is done there: isolation, the walk to it and around it.

    The walk is reckoned as the mean straight line from one machine to the next in the order easy
    before hard, times the usual detour; the walk itself replaces it.
    """
    place = {unit.unit: (unit.x_m, unit.y_m) for unit in day.site.units}
    order = [place[unit] for unit in dict.fromkeys(c.unit for c in day.found)]
    legs = [math.dist(a, b) for a, b in pairwise(order)]
    speed_m_s = day.site.rules.walking_speed_m_s
    mean_m = sum(legs) / len(legs) if legs else 0.0
    return day.site.rules.isolation_s + DETOUR * mean_m / speed_m_s + AROUND_S


def coverage_problem(day: Field) -> CoverageProblem:
    """The day's choice as integers."""
    kinds = list(dict.fromkeys(c.kind for c in day.found))
    pairs = list(dict.fromkeys(c.pair for c in day.found))
    units = [unit.unit for unit in day.site.units]
    per_kind = Counter(kind for _, kind in pairs)
    most = max(per_kind.values(), default=1)
    times = [
        [
            ms(c.standard_s * day.settings.curve.factor(day.done[c.kind] + n + 1))
            for n in range(most)
        ]
        for c in day.found
    ]
    visit_s = visit_seconds(day)

    def column(values: Sequence[int]) -> np.ndarray[tuple[int], np.dtype[np.int64]]:
        return np.array(values, dtype=np.int64)

    return CoverageProblem(
        time_ms=np.array(times, dtype=np.int64).reshape(len(day.found), most),
        pair=column([pairs.index(c.pair) for c in day.found]),
        kind=column([kinds.index(c.kind) for c in day.found]),
        unit=column([units.index(c.unit) for c in day.found]),
        visit_ms=column([ms(visit_s)] * len(units)),
        show_ms=column([ms(day.settings.show_s)] * len(pairs)),
        window_ms=day.window_ms,
    )


def choose(day: Field) -> tuple[tuple[Candidate, ...], Coverage]:
    """The joints of one day: most pairs of family and kind, then least time."""
    problem = coverage_problem(day)
    answer = cover(problem, seed=day.settings.seed, work=day.settings.work)
    chosen = tuple(c for c, take in zip(day.found, answer.chosen, strict=True) if take)
    return chosen, answer
