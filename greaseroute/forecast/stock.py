"""How much to keep and to order: safety stock and reorder level."""

import math
from bisect import bisect_left
from collections.abc import Callable
from statistics import NormalDist

from scipy import special

from greaseroute.records import Record

_NORMAL = NormalDist()

FEW_CARTRIDGES = 10.0
"""Below this mean demand over the lead time a count's own quantile replaces the normal one."""


def z_value(share: float) -> float:
    """Standard normal quantile, such as 1.6449 for 0.95."""
    return _NORMAL.inv_cdf(share)


class ReorderLevel(Record):
    """``level`` in whole cartridges: at or below it, order. ``rule`` names the formula used."""

    safety: float
    level: int
    rule: str


def safety_stock(sd_a_day: float, lead_days: float, *, service_level: float) -> float:
    """z x sd x sqrt(lead time), for demand that is independent from day to day."""
    return z_value(service_level) * sd_a_day * math.sqrt(lead_days)


def count_quantile(mean: float, variance: float, *, share: float) -> int:
    """The least count not exceeded with ``share``, for a count of that mean and variance.

    Negative binomial where the variance is above the mean, else Poisson. (The distributions are
    those of ``scipy.special``: loading ``scipy.stats`` for two of them takes longer than a round.)
    """
    if mean == 0:
        return 0
    if variance <= mean:
        return _least(lambda count: float(special.gammaincc(count + 1, mean)), share)
    successes, chance = mean**2 / (variance - mean), mean / variance
    return _least(lambda count: float(special.betainc(successes, count + 1, chance)), share)


def _least(at_most: Callable[[int], float], share: float) -> int:
    """The least count whose chance not to be exceeded, ``at_most``, is ``share`` or more."""
    high = 1
    while at_most(high) < share:
        high *= 2
    return bisect_left(range(high), share, key=at_most)


def reorder_level(
    mean_a_day: float, sd_a_day: float, *, lead_days: float, service_level: float
) -> ReorderLevel:
    """Stock at which to order so that it lasts the lead time with ``service_level``.

    Mean demand over the lead time plus the safety stock, rounded up; where few cartridges are
    used over it, the quantile of a count with that mean and variance instead.
    """
    mean = mean_a_day * lead_days
    variance = sd_a_day**2 * lead_days
    if mean < FEW_CARTRIDGES:
        level = count_quantile(mean, variance, share=service_level)
        return ReorderLevel(safety=level - mean, level=level, rule="count quantile")
    safety = safety_stock(sd_a_day, lead_days, service_level=service_level)
    return ReorderLevel(
        safety=safety, level=math.ceil(mean + safety - 1e-9), rule="mean + z x sd x sqrt(days)"
    )
