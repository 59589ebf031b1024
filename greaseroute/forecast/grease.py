"""Grease of the span from simulated weeks: quantiles, fan by morning, expectation beside it."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from greaseroute.forecast.joints import FloatArray, JointRows
from greaseroute.forecast.simulation import Weeks
from greaseroute.plan.week import GreaseWeek, Quantiles
from greaseroute.site.crew import Grease

DIGITS = 3


@dataclass(frozen=True, slots=True)
class Planned:
    """One morning of the plan by grease: grams and cartridges as walked, and as the rows of joints
    have them (one gun, no change)."""

    grams: Mapping[str, float]
    cartridges: Mapping[str, float]
    row_grams: Mapping[str, float]
    row_cartridges: Mapping[str, float]

    def of(self, grease: str) -> tuple[float, float, float, float]:
        """The four figures of one grease."""
        found = (self.grams, self.cartridges, self.row_grams, self.row_cartridges)
        a, b, c, d = (each.get(grease, 0.0) for each in found)
        return a, b, c, d


def quantiles(drawn: FloatArray) -> Quantiles:
    """Mean, P10, P50 and P90 of drawn values, linear between them."""
    low, middle, high = np.quantile(drawn, [0.10, 0.50, 0.90])
    return Quantiles(
        mean=round(float(drawn.mean()), DIGITS),
        p10=round(float(low), DIGITS),
        p50=round(float(middle), DIGITS),
        p90=round(float(high), DIGITS),
    )


def expected_grams(rows: JointRows, expected: FloatArray, *, grease: str) -> float:
    """Mean grams of a grease from the expected services (N,) of each joint."""
    grams = np.array([s.grams if s.grease.name == grease else 0.0 for s in rows.services])
    return float(expected @ grams)


def grease_weeks(
    rows: JointRows,
    weeks: Weeks,
    *,
    greases: Sequence[Grease],
    expected: FloatArray | None,
    planned: Sequence[Planned],
) -> tuple[GreaseWeek, ...]:
    """One record for each grease that is used, in the site's order.

    The plan's own account is the middle of the forecast: weeks differ from it by what their hours
    make them grease beside it.
    """
    found = []
    for grease in greases:
        if grease.name not in weeks.greases:
            continue
        g = weeks.greases.index(grease.name)
        grams = np.cumsum(weeks.grams[:, :, g], axis=1)
        used = np.cumsum(weeks.cartridges[:, :, g], axis=1)
        by_day = [p.of(grease.name) for p in planned]
        on_plan = np.cumsum(np.array(by_day).reshape(-1, 4), axis=0)
        grams = grams[:, -1] + on_plan[-1, 0] - on_plan[-1, 2]
        used = used + on_plan[:, 1] - on_plan[:, 3]
        used = np.maximum.accumulate(used, axis=1)  # what went in stays in
        spread = quantiles(grams)
        price = grease.price_per_kg
        found.append(
            GreaseWeek(
                grease=grease.name,
                grams=spread,
                cartridges=quantiles(used[:, -1]),
                fan=tuple(quantiles(used[:, day]) for day in range(used.shape[1])),
                expected_g=None
                if expected is None
                else round(expected_grams(rows, expected, grease=grease.name), DIGITS),
                planned_g=round(float(on_plan[-1, 0]), DIGITS),
                planned_cartridges=round(float(on_plan[-1, 1])),
                cost_p50=None if price is None else round(spread.p50 / 1000 * price, 2),
            )
        )
    return tuple(found)
