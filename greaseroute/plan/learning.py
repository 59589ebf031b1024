"""Learning curves: how long the n-th time takes.

Two forms carry the same name. Wright stated in 1936 that the *average* of all times so far falls
by a constant share with each doubling; the *unit* form, in which the time of the n-th itself does,
came later (Crawford). Both use b = log2(rate).
"""

import math
from typing import Literal

from pydantic import Field

from greaseroute.records import Record

Form = Literal["unit", "cumulative average"]

DEFAULT_RATE = 0.85
DEFAULT_FIRST = 2.5
"""Rate and first-time factor for grease joints: common practice, no source; both are settings."""


class LearningCurve(Record):
    """``rate``: with each doubling of the times done, the time falls to this share of what it was.
    ``first``: the first time takes so many standard times; ``form`` as in the module's text."""

    rate: float = Field(default=DEFAULT_RATE, gt=0, le=1)
    first: float = Field(default=DEFAULT_FIRST, ge=1)
    form: Form = "unit"

    @property
    def exponent(self) -> float:
        """b in n^b: log2 of the rate."""
        return math.log2(self.rate)

    def factor(self, n: int) -> float:
        """Standard times that the n-th time takes; never below 1, where learning stops."""
        if self.form == "unit":
            return max(1.0, self.first * unit_factor(n, rate=self.rate))
        return max(1.0, self.first * average_form_unit(n, rate=self.rate))


def unit_factor(n: int, *, rate: float) -> float:
    """Time of the n-th over that of the first, unit form: n^b."""
    return float(n ** math.log2(rate))


def average_form_average(n: int, *, rate: float) -> float:
    """Average of the first n over the first, cumulative-average form: n^b."""
    return unit_factor(n, rate=rate)


def average_form_unit(n: int, *, rate: float) -> float:
    """Time of the n-th over the first, cumulative-average form: n A(n) - (n - 1) A(n - 1)."""
    before = (n - 1) * average_form_average(n - 1, rate=rate) if n > 1 else 0.0
    return n * average_form_average(n, rate=rate) - before
