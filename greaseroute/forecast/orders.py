"""The order list: when stock reaches its reorder level, and what to order then in which packs."""

import math
from collections.abc import Sequence

import numpy as np

from greaseroute.forecast.calendar import Calendar
from greaseroute.forecast.packs import G_PER_KG, packs_for
from greaseroute.forecast.simulation import Weeks
from greaseroute.forecast.stock import reorder_level
from greaseroute.plan.week import GreaseWeek, OrderLine
from greaseroute.site.crew import Grease

DEFAULT_SERVICE_LEVEL = 0.95


def daily_demand(weeks: Weeks, grease: str, *, span_days: int) -> tuple[float, float]:
    """Mean and standard deviation of cartridges a calendar day, days taken as independent."""
    if grease not in weeks.greases:
        return 0.0, 0.0
    total = weeks.cartridges[:, :, weeks.greases.index(grease)].sum(axis=1)
    return float(total.mean()) / span_days, float(np.std(total, ddof=1)) / math.sqrt(span_days)


def _reached(grease: Grease, week: GreaseWeek | None, level: int) -> int | None:
    """The first morning after whose round expected stock is at or below ``level``.

    None if there is none, or where nobody said what is in stock.
    """
    stock = grease.stock_cartridges
    if stock is None:
        return None
    if stock <= level:
        return 0
    for day, used in enumerate(week.fan if week else ()):
        if stock - used.mean <= level:
            return day
    return None


def order_line(
    grease: Grease,
    *,
    steady: Weeks,
    steady_days: int,
    week: GreaseWeek | None,
    calendar: Calendar,
    service_level: float = DEFAULT_SERVICE_LEVEL,
) -> OrderLine:
    """The order of one grease. Stock is brought up to what lasts the lead time and one more span.

    Packs are those of the site file, else cartridges.
    """
    span_days = sum(calendar.step_days)
    mean, sd = daily_demand(steady, grease.name, span_days=steady_days)
    at = reorder_level(mean, sd, lead_days=grease.lead_time_days, service_level=service_level)
    cover_days = grease.lead_time_days + span_days
    up_to = reorder_level(mean, sd, lead_days=cover_days, service_level=service_level).level
    day = _reached(grease, week, at.level)
    used = week.fan[day].mean if week and day is not None else 0.0
    stock = grease.stock_cartridges
    need = 0 if day is None or stock is None else max(0, math.ceil(up_to - (stock - used)))
    cartridge_kg = grease.cartridge_g / G_PER_KG
    packs = packs_for(need * cartridge_kg, grease.pack_kg or (cartridge_kg,))
    ordered_kg = sum(pack.count * pack.size_kg for pack in packs)
    price = grease.price_per_kg
    return OrderLine(
        grease=grease.name,
        stock=stock,
        lead_days=grease.lead_time_days,
        service_level=service_level,
        mean_a_day=round(mean, 4),
        sd_a_day=round(sd, 4),
        safety=round(at.safety, 3),
        reorder_level=at.level,
        rule=at.rule,
        up_to=up_to,
        order_by=None if day is None else calendar.mornings[day].date().isoformat(),
        need=need,
        packs=packs,
        ordered_kg=round(ordered_kg, 3),
        cost=None if price is None or not packs else round(ordered_kg * price, 2),
    )


def order_list(
    greases: Sequence[Grease],
    *,
    steady: Weeks,
    steady_days: int,
    weeks: Sequence[GreaseWeek],
    calendar: Calendar,
    service_level: float = DEFAULT_SERVICE_LEVEL,
) -> tuple[OrderLine, ...]:
    """One line for each grease of the site; ``steady`` spans ``steady_days`` calendar days."""
    by_name = {week.grease: week for week in weeks}
    return tuple(
        order_line(
            grease,
            steady=steady,
            steady_days=steady_days,
            week=by_name.get(grease.name),
            calendar=calendar,
            service_level=service_level,
        )
        for grease in greases
    )
