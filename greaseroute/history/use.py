"""Grease given, in grams by unit and grease, and what it cost."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta

from greaseroute.dose.strokes import stroke_cm3
from greaseroute.ledger.events import Event, Greased
from greaseroute.plan.history import GreaseUse
from greaseroute.site.model import Site

G_PER_KG = 1000.0


@dataclass(slots=True)
class _Sum:
    grams: float = 0.0
    before: float = 0.0
    services: int = 0
    unmeasured: int = 0


def grease_use(
    events: Iterable[Event], site: Site, *, at: datetime, days: int
) -> tuple[GreaseUse, ...]:
    """Grease of the ``days`` before ``at`` and of as many before these, by unit and grease.

    Services that told no strokes at all, such as rows taken over from files, make no row.
    """
    span = timedelta(days=days)
    sums: dict[tuple[str, str], _Sum] = {}
    for event in events:
        if not isinstance(event, Greased) or not at - 2 * span < event.at <= at:
            continue
        grams = grams_of(event, site)
        key = (event.unit, event.grease or "grease not told")
        found = sums.setdefault(key, _Sum())
        if event.at > at - span:
            found.services += 1
            found.unmeasured += grams is None
            found.grams += grams or 0.0
        else:
            found.before += grams or 0.0
    prices = {grease.name: grease.price_per_kg for grease in site.greases}
    return tuple(
        _use(key, found, price=prices.get(key[1]))
        for key, found in sorted(sums.items())
        if found.grams or found.before
    )


def _use(key: tuple[str, str], found: _Sum, *, price: float | None) -> GreaseUse:
    cost = None if price is None else round(found.grams / G_PER_KG * price, 2)
    return GreaseUse(
        unit=key[0],
        grease=key[1],
        grams=round(found.grams, 1),
        grams_before=round(found.before, 1),
        cost=cost,
        services=found.services,
        unmeasured=found.unmeasured,
    )


def grams_of(event: Greased, site: Site) -> float | None:
    """Grams of one service: strokes x stroke of the gun x density; None where one is not told."""
    gun = next((gun for gun in site.guns if gun.name == event.gun), None)
    grease = next((g for g in site.greases if gun is not None and g.name == gun.grease), None)
    if event.strokes is None or gun is None or grease is None:
        return None
    return event.strokes * stroke_cm3(gun, grease) * grease.density_g_cm3
