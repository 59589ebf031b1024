"""When a search or a bound stops: after a number of iterations, or by the clock."""

import time
from dataclasses import dataclass

NO_LIMIT_S = 1e9  # longer than anything here runs


@dataclass(frozen=True, slots=True)
class StopRule:
    """Stop after ``iterations``, or at ``end_s``, whichever comes first; None: no such limit.

    Attributes
    ----------
    iterations : int or None
        The same input then gives the same result.
    begin_s, end_s : float, float or None
        Moments of ``time.perf_counter``.
    """

    iterations: int | None
    begin_s: float = 0.0
    end_s: float | None = None

    @classmethod
    def after(cls, iterations: int | None = None, *, limit_s: float | None = None) -> "StopRule":
        """Stop after so many iterations, or so many wall seconds from now."""
        now = time.perf_counter()
        return cls(iterations, now, None if limit_s is None else now + limit_s)

    def over(self, done: int) -> bool:
        """Whether it is time, that many iterations made."""
        return self.share(done) >= 1.0

    def share(self, done: int) -> float:
        """The part of the run that is over, from 0 to 1 or more."""
        # Whichever limit is nearer; none at all never stops.
        parts = [0.0]
        if self.iterations is not None:
            parts.append(done / self.iterations if self.iterations > 0 else 1.0)
        if self.end_s is not None:
            gone, whole = time.perf_counter() - self.begin_s, self.end_s - self.begin_s
            parts.append(gone / whole if whole > 0 else 1.0)
        return max(parts)

    def end_after(self, share: float) -> float | None:
        """The moment at which a share of the time that is left is over; None without a limit."""
        return None if self.end_s is None else time.perf_counter() + share * self.seconds_left()

    def seconds_left(self) -> float:
        """Wall seconds to the end; without one, more than any solve takes."""
        return NO_LIMIT_S if self.end_s is None else self.end_s - time.perf_counter()
