"""Best-first branch and bound: a heap of open branches, and the bound proved over all of them."""

import heapq
from collections.abc import Callable, Iterable
from typing import Generic, TypeVar

BranchT = TypeVar("BranchT")


class BestFirst(Generic[BranchT]):
    """Open branches by their bounds; every solution below ``upper`` is in one of them.

    Attributes
    ----------
    value : int
        Proved bound over all branches, good at any moment.
    upper : int
        Branches with a bound of this or more are dropped; it may be lowered.
    """

    def __init__(self, root: BranchT, *, value: int, upper: int) -> None:
        self.value, self.upper = value, upper
        self._abandoned = upper  # least bound of the branches that nothing splits any more
        self._count = 0  # breaks ties: of equal bounds the branch that came first
        self._heap: list[tuple[int, int, BranchT]] = []
        self._push(value, root)

    def run(
        self,
        explore: Callable[[int, BranchT], Iterable[tuple[int, BranchT]]],
        over: Callable[[], bool],
    ) -> None:
        """Explore the branch with the least bound until none is left or it is time to stop.

        Parameters
        ----------
        explore : callable
            Takes a bound and its branch, returns the branches below with their bounds (none where
            the branch is closed). Should it raise, the branch stays open.
        over : callable
            Whether to stop.
        """
        while self._heap and not over():
            bound, _, branch = self._heap[0]
            # The branch leaves the heap only when it is explored: an interrupt loses nothing.
            below = explore(bound, branch)
            heapq.heappop(self._heap)
            for least, part in below:
                self._push(least, part)
            self._raise_value()

    def abandon(self, bound: int) -> None:
        """Leave a branch unsplit: its bound limits the value for good."""
        self._abandoned = min(self._abandoned, bound)

    def _push(self, bound: int, branch: BranchT) -> None:
        if bound < self.upper:
            self._count += 1
            heapq.heappush(self._heap, (bound, self._count, branch))

    def _raise_value(self) -> None:
        """The weakest branch bounds them all; those that a lower ``upper`` closes are dropped."""
        while self._heap and self._heap[0][0] >= self.upper:
            heapq.heappop(self._heap)
        least = self._heap[0][0] if self._heap else self.upper
        self.value = min(self.upper, max(self.value, min(least, self._abandoned)))
