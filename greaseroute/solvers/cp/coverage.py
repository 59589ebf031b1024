"""Which joints a learner meets: the choice as integers, and what any choice costs.

Candidates stand in the order in which they would be met, easy before hard; each belongs to one
pair (a family and a kind of joint) and to one kind. Integers only.
"""

from dataclasses import dataclass

import numpy as np

from greaseroute.errors import UnfitProblem
from greaseroute.solvers.arrays import LARGEST_SUM, BoolArray, IntArray
from greaseroute.solvers.result import Status


@dataclass(frozen=True, slots=True, eq=False)
class CoverageProblem:
    """N candidates of U units, P pairs and K kinds.

    Attributes
    ----------
    time_ms : (N, R)
        Time of a candidate as the 1st, 2nd, ... R-th of its kind on this day; never rising, R not
        below the pairs of any kind.
    pair, kind, unit : (N,)
        Where it belongs.
    visit_ms : (U,)
        Time of a visit whatever is done there.
    show_ms : (P,)
        Time in which the mentor shows a pair before the learner does it.
    window_ms : int
        Time there is.
    """

    time_ms: IntArray
    pair: IntArray
    kind: IntArray
    unit: IntArray
    visit_ms: IntArray
    show_ms: IntArray
    window_ms: int


@dataclass(frozen=True, slots=True, eq=False)
class Coverage:
    """``chosen`` (N,), at most one of each pair; ``total_ms`` of it. ``most_pairs`` and
    ``lower_ms`` are proved: no choice covers more pairs, none that covers as many is shorter."""

    chosen: BoolArray
    pairs: int
    total_ms: int
    most_pairs: int
    lower_ms: int
    status: Status


def total_ms(problem: CoverageProblem, chosen: BoolArray) -> int:
    """Time of any choice: candidates in order, each as the n-th of its kind; visits; shows."""
    # Candidates stand in the order in which they are met: each is one more of its kind.
    met: dict[int, int] = {}
    total = 0
    for i in np.flatnonzero(chosen):
        kind = int(problem.kind[i])
        total += int(problem.time_ms[i, met.get(kind, 0)])
        met[kind] = met.get(kind, 0) + 1
    total += int(problem.visit_ms[np.unique(problem.unit[chosen])].sum())
    return total + int(problem.show_ms[np.unique(problem.pair[chosen])].sum())


def check(problem: CoverageProblem) -> None:
    """Raise ``UnfitProblem`` for arrays that are ragged, negative, too short or too large."""
    n = len(problem.pair)
    # Shapes, amounts, ranges, and one time for each of a kind.
    shapes = (problem.kind.shape, problem.unit.shape, problem.time_ms.shape[:1])
    if any(shape != (n,) for shape in shapes) or problem.time_ms.ndim != 2:
        _refuse("arrays", str(shapes), limit=f"{n} candidates in each")
    for name in ("time_ms", "visit_ms", "show_ms"):
        values = getattr(problem, name)
        if values.size and (values.min() < 0 or values.sum(dtype=object) > LARGEST_SUM):
            _refuse(name, f"from {values.min()}", limit="0 or more, sums below 2**53")
    for name, size in (("unit", len(problem.visit_ms)), ("pair", len(problem.show_ms))):
        values = getattr(problem, name)
        if n and not 0 <= values.min() <= values.max() < size:
            _refuse(name, f"{values.min()} to {values.max()}", limit=f"0 to {size - 1}")
    most = most_of_a_kind(problem)
    if most > problem.time_ms.shape[1]:
        _refuse("time_ms", f"{problem.time_ms.shape[1]} columns", limit=f"{most} or more")


def _refuse(what: str, value: str, *, limit: str) -> None:
    raise UnfitProblem(
        f"coverage: {what}", value, limit=limit, next_step="mend the caller, not the data"
    )


def most_of_a_kind(problem: CoverageProblem) -> int:
    """The largest number of pairs that share a kind."""
    pairs = {(int(k), int(p)) for k, p in zip(problem.kind, problem.pair, strict=True)}
    kinds = [k for k, _ in pairs]
    return max((kinds.count(k) for k in set(kinds)), default=0)
