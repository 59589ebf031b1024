"""Lists of arcs to begin with, and whether direction counts."""

import numpy as np

from greaseroute.solvers.arrays import BoolArray, IntArray
from greaseroute.solvers.gtsp.problem import GtspProblem

START_ARCS = 8  # in and out of every node
BLOCK = 256  # rows looked at together: large problems should not need more memory twice


def same_both_ways(problem: GtspProblem) -> bool:
    """Whether costs between clusters are symmetric."""
    owner = problem.cluster_of
    for lo in range(0, len(owner), BLOCK):
        # Rows against columns, block by block; entries inside a cluster do not count.
        rows, columns = problem.cost[lo : lo + BLOCK], problem.cost[:, lo : lo + BLOCK].T
        if ((rows != columns) & (owner[lo : lo + BLOCK, None] != owner[None, :])).any():
            return False
    return True


def first_arcs(
    problem: GtspProblem, tour: IntArray, *, upper: int, symmetric: bool
) -> tuple[IntArray, IntArray]:
    """The cheapest arcs in and out of every node, and those of a tour."""
    out = _nearest(problem, upper=upper, back=False)
    here = (tour, np.roll(tour, -1))
    if symmetric:
        return joined(problem, out, here, symmetric=True)
    # With directions, nearest to go to and nearest to come from are different lists.
    head, tail = _nearest(problem, upper=upper, back=True)
    return joined(problem, out, (tail, head), here, symmetric=False)


def joined(
    problem: GtspProblem, *lists: tuple[IntArray, IntArray], symmetric: bool
) -> tuple[IntArray, IntArray]:
    """Every arc once; where direction does not count the smaller node first."""
    count = len(problem.nodes)
    tail = np.concatenate([part[0] for part in lists])
    head = np.concatenate([part[1] for part in lists])
    if symmetric:
        tail, head = np.minimum(tail, head), np.maximum(tail, head)
    # One number for each arc: sorted, and each once.
    key = np.unique(tail * count + head)
    return key // count, key % count


def cheapest_exits(problem: GtspProblem) -> int:
    """Every cluster is left and entered once: the sum of cheapest arcs out, or of cheapest in."""
    if problem.size < 2:
        return 0
    size = problem.size
    # Least arc out of each cluster, and least arc into it.
    leave, enter = np.zeros(size, np.int64), np.zeros(size, np.int64)
    for c in range(size):
        lo, hi = problem.first[c], problem.first[c + 1]
        leave[c] = min(_least(problem.cost[lo:hi, :lo]), _least(problem.cost[lo:hi, hi:]))
        enter[c] = min(_least(problem.cost[:lo, lo:hi]), _least(problem.cost[hi:, lo:hi]))
    return int(max(leave.sum(), enter.sum()))


def _least(block: IntArray) -> int:
    return int(block.min(initial=np.iinfo(block.dtype).max))


def _nearest(problem: GtspProblem, *, upper: int, back: bool) -> tuple[IntArray, IntArray]:
    """The cheapest arcs out of (``back``: into) every node, at most ``upper`` costly."""
    owner, cost = problem.cluster_of, problem.cost.T if back else problem.cost
    count = min(START_ARCS, len(owner) - 1)
    near, far = [], []
    for lo in range(0, len(owner), BLOCK):
        rows = cost[lo : lo + BLOCK]
        allowed: BoolArray = (owner[lo : lo + BLOCK, None] != owner[None, :]) & (rows <= upper)
        # The nearest few of a block of rows, less those not allowed.
        ranked = np.where(allowed, rows, np.iinfo(rows.dtype).max)
        best = np.argpartition(ranked, count, axis=1)[:, :count]
        row = np.repeat(np.arange(len(rows)), count)
        held = allowed[row, best.ravel()]
        near.append(row[held] + lo)
        far.append(best.ravel()[held])
    return np.concatenate(near).astype(np.int64), np.concatenate(far).astype(np.int64)
