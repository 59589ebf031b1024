"""Grease of the span from simulated weeks: quantiles, fan by morning, expectation beside it."""

from collections.abc import Sequence

import numpy as np

from greaseroute.forecast.joints import FloatArray, JointRows
from greaseroute.forecast.simulation import Weeks
from greaseroute.plan.week import GreaseWeek, Quantiles
from greaseroute.site.crew import Grease

DIGITS = 3


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
    rows: JointRows, weeks: Weeks, *, greases: Sequence[Grease], expected: FloatArray | None
) -> tuple[GreaseWeek, ...]:
    """One record for each grease that is used, in the site's order."""
    found = []
    for grease in greases:
        if grease.name not in weeks.greases:
            continue
        g = weeks.greases.index(grease.name)
        grams = weeks.grams[:, :, g].sum(axis=1)
        used = np.cumsum(weeks.cartridges[:, :, g], axis=1)
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
                cost_p50=None if price is None else round(spread.p50 / 1000 * price, 2),
            )
        )
    return tuple(found)
