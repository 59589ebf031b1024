"""The rule of a morning as arrays: what is due, what is greased, how hours and days run on."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from greaseroute.forecast.calendar import Calendar
from greaseroute.forecast.joints import FloatArray, JointRows

BoolArray = NDArray[np.bool_]
SLACK = 1e-9


@dataclass(slots=True, eq=False)
class Clockwork:
    """Hours and days since greased of N joints in W weeks at once; ``since_h`` is (W, N).

    The same rule as ``due.owed``: an hours limit counts what falls due within ``ahead_h`` of
    work, a limit in days what falls due before the next round. Local to one simulation.
    """

    rows: JointRows
    calendar: Calendar
    ahead_h: float
    since_h: FloatArray
    since_days: FloatArray

    @classmethod
    def start(
        cls, rows: JointRows, calendar: Calendar, *, ahead_h: float, weeks: int
    ) -> "Clockwork":
        """Every week begins with what the records say today."""
        shape = (weeks, 1)
        return cls(
            rows, calendar, ahead_h, np.tile(rows.since_h, shape), np.tile(rows.since_days, shape)
        )

    def owed(self, morning: int) -> BoolArray:
        """What its hours or days make due on a morning, (W, N)."""
        ahead_days = self.calendar.step_days[morning] if self.ahead_h > 0 else 0
        limit_days = self.rows.limit_days
        owed = self.since_h >= self.rows.limit_h - self.ahead_h - SLACK
        owed |= self.since_days >= limit_days - SLACK
        owed |= self.since_days > limit_days - ahead_days + SLACK
        return owed | np.isinf(self.since_days)  # the last: never recorded, or hours unknown

    def due(self, morning: int) -> BoolArray:
        """What is due on a morning, (W, N): what is owed, and what every shift asks."""
        shift = self.rows.every_shift & ~(self.rows.greased_today & (morning == 0))
        return self.owed(morning) | shift

    def grease(self, done: BoolArray) -> None:
        """What is greased begins again."""
        self.since_h[done] = 0.0
        self.since_days[done] = 0.0

    def run_on(self, morning: int, hours: FloatArray, *, rates: FloatArray) -> None:
        """The day after a morning: ``hours`` (W, units) worked, intervals used up at ``rates``."""
        worn = hours * rates[:, morning]
        self.since_h += worn[:, self.rows.unit]
        self.since_days += self.calendar.step_days[morning] * rates[self.rows.unit, morning]
