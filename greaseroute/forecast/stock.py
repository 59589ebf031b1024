"""How much to keep and to order: safety stock, reorder level, and a single order for a window."""

import math
from statistics import NormalDist

from pydantic import Field

from greaseroute.errors import UnfitProblem
from greaseroute.forecast.counts import negative_binomial_quantile
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
        level = negative_binomial_quantile(mean, variance, share=service_level)
        return ReorderLevel(safety=level - mean, level=level, rule="count quantile")
    safety = safety_stock(sd_a_day, lead_days, service_level=service_level)
    return ReorderLevel(
        safety=safety, level=math.ceil(mean + safety - 1e-9), rule="mean + z x sd x sqrt(days)"
    )


class SingleOrder(Record):
    """One order for a demand met once: the best quantity and what to expect of it."""

    ratio: float = Field(gt=0, lt=1)
    quantity: float
    whole: int
    lost_sales: float
    profit: float


def _loss(mean: float, sd: float, *, quantity: float) -> float:
    """Expected demand above ``quantity``: sd x (density(z) - z x (1 - share(z)))."""
    z = (quantity - mean) / sd
    return sd * (_NORMAL.pdf(z) - z * (1 - _NORMAL.cdf(z)))


def newsvendor(mean: float, sd: float, *, cost: float, price: float, salvage: float) -> SingleOrder:
    """The quantity of most expected profit for a normal demand.

    The share price - cost over price - salvage of all demands is met; ``lost_sales`` and
    ``profit`` are at that quantity, ``whole`` is it rounded up.

    Raises
    ------
    UnfitProblem
        Unless salvage < cost < price and sd > 0.
    """
    if not (salvage < cost < price and sd > 0):
        raise UnfitProblem(
            "single order",
            f"cost {cost:g}, price {price:g}, salvage {salvage:g}, sd {sd:g}",
            limit="salvage < cost < price and sd above 0",
            next_step="salvage is what one left over still brings, below its cost",
        )
    ratio = (price - cost) / (price - salvage)
    quantity = mean + z_value(ratio) * sd
    lost = _loss(mean, sd, quantity=quantity)
    sold = mean - lost
    profit = price * sold + salvage * (quantity - sold) - cost * quantity
    return SingleOrder(
        ratio=ratio,
        quantity=quantity,
        whole=math.ceil(quantity - 1e-9),
        lost_sales=lost,
        profit=profit,
    )
