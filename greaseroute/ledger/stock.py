"""Cartridges in the store: counted, received, taken, and fitted on rounds."""

from collections.abc import Iterable
from datetime import datetime

from greaseroute.ledger.events import (
    CartridgeFitted,
    Event,
    StockCounted,
    StockReceived,
    StockTaken,
)


def stock_of(events: Iterable[Event], grease: str, *, at: datetime) -> float | None:
    """Cartridges of a grease at a moment: the last count, and what came and went since.

    None where nobody ever counted. Never below zero: more may have been fitted than the count
    knew of.
    """
    stock: float | None = None
    for event in sorted(events, key=_order):
        if event.at > at or getattr(event, "grease", None) != grease:
            continue
        if isinstance(event, StockCounted):
            stock = event.cartridges
        elif stock is not None:
            stock = max(0.0, stock + change_of(event))
    return stock


def _order(event: Event) -> tuple[datetime, bool]:
    """By time; a count comes before what happened at the same moment."""
    return event.at, not isinstance(event, StockCounted)


def change_of(event: Event) -> float:
    """By how many cartridges an event changes the store."""
    if isinstance(event, StockReceived):
        return event.cartridges
    if isinstance(event, StockTaken | CartridgeFitted):
        return -event.cartridges
    return 0.0
