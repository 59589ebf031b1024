"""Grease given in grams, by hand."""

from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from greaseroute.history.use import grease_use
from greaseroute.ledger.events import Greased
from greaseroute.site.folder import read_site

YARD = Path(__file__).parent.parent.parent / "sites_demo" / "three_machines"
AT = datetime(2026, 3, 31, 5, tzinfo=UTC)


@pytest.fixture(scope="module")
def site():
    return read_site(YARD)


def _greased(days_ago, strokes, *, unit="BF-1", gun="lever gun"):
    return Greased(
        id=f"{unit}-{days_ago}", at=AT - timedelta(days=days_ago), unit=unit, joint="take-up slide",
        fitting="right", strokes=strokes, grease="EP 2 lithium complex", gun=gun,
    )  # fmt: skip


def test_grams_trend_and_what_was_not_measured(site):
    # The gun gives 1.0 cm3 a stroke, the grease weighs 0.90 g/cm3.
    events = [
        _greased(1, 10),
        _greased(8, 20),
        _greased(12, 5),  # the span before
        _greased(25, 99),  # too long ago
        _greased(2, 10, unit="BF-2"),
        _greased(3, 7, unit="BF-2", gun="somebody else's"),
    ]
    first, second = grease_use(events, site, at=AT, days=10)
    assert (first.unit, first.grams, first.grams_before, first.services) == ("BF-1", 27.0, 4.5, 2)
    assert first.trend_pct == pytest.approx(500)
    assert first.cost is None  # the yard names no price
    assert (second.grams, second.unmeasured, second.trend_pct) == (9.0, 1, None)


def test_cost_by_the_price_per_kg(site):
    from dataclasses import replace

    priced = replace(
        site, greases=tuple(g.model_copy(update={"price_per_kg": 10.0}) for g in site.greases)
    )
    (use,) = grease_use([_greased(1, 1000)], priced, at=AT, days=10)
    assert (use.grams, use.cost) == (900.0, 9.0)
