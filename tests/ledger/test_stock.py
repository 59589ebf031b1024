"""Cartridges in the store: counted, received, taken, fitted on a round."""

from datetime import UTC, datetime, timedelta

import pytest

from greaseroute.ledger.events import CartridgeFitted, StockCounted, StockReceived, StockTaken
from greaseroute.ledger.stock import stock_of

BEGUN = datetime(2026, 10, 12, 4, tzinfo=UTC)


def at(hours):
    return BEGUN + timedelta(hours=hours)


EVENTS = [
    StockReceived(id="r0", at=at(-5), grease="EP 2", cartridges=50),  # before the count: in it
    StockCounted(id="s", at=at(0), grease="EP 2", cartridges=12),
    CartridgeFitted(id="f1", at=at(0), grease="EP 2", cartridges=1),
    CartridgeFitted(id="f2", at=at(1), grease="EP 2", cartridges=2),
    CartridgeFitted(id="f3", at=at(1), grease="moly", cartridges=4),
    StockReceived(id="r1", at=at(30), grease="EP 2", cartridges=24),
    StockTaken(id="t", at=at(31), grease="EP 2", cartridges=3),
]


@pytest.mark.parametrize(("hours", "left"), [(-1, None), (0, 11), (2, 9), (30, 33), (99, 30)])
def test_stock_by_hand(hours, left):
    assert stock_of(EVENTS, "EP 2", at=at(hours)) == left


def test_what_was_never_counted_is_not_told_and_nothing_falls_below_zero():
    assert stock_of(EVENTS, "moly", at=at(99)) is None
    many = [EVENTS[1], CartridgeFitted(id="x", at=at(1), grease="EP 2", cartridges=40), EVENTS[5]]
    assert stock_of(many, "EP 2", at=at(99)) == 24


def test_a_new_count_starts_afresh():
    again = StockCounted(id="s2", at=at(40), grease="EP 2", cartridges=5)
    assert stock_of([*EVENTS, again], "EP 2", at=at(41)) == 5
