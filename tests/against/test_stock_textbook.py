"""Safety stock, reorder level and the single-order problem.

Sources: normal quantiles and the formulas are textbook values; the single-order exercises are
published questions (tutorsglobe.com 52554787 and 51686518), answers computed from the formula; an
answer key that contradicts itself is at qammunity.org/6843903.
"""

import pytest

from greaseroute.errors import UnfitProblem
from greaseroute.forecast.stock import newsvendor, reorder_level, safety_stock, z_value


@pytest.mark.parametrize(
    ("share", "z"),
    [(0.8, 0.8416), (0.9, 1.2816), (0.95, 1.6449), (0.975, 1.96), (0.98, 2.0537), (0.99, 2.3263)],
)
def test_normal_quantiles(share, z):
    assert z_value(share) == pytest.approx(z, abs=5e-5)


def test_safety_stock_and_reorder_level():
    """4.5 a day, sd 1.2, lead time 5 days, 95 %: 1.6449 x 1.2 x sqrt(5) = 4.41; 26.91 -> 27."""
    assert safety_stock(1.2, 5, service_level=0.95) == pytest.approx(4.41, abs=0.005)
    found = reorder_level(4.5, 1.2, lead_days=5, service_level=0.95)
    assert found.safety + 22.5 == pytest.approx(26.91, abs=0.005)
    assert found.level == 27


@pytest.mark.parametrize(
    ("cost", "price", "salvage", "ratio", "quantity", "whole", "lost", "profit"),
    [
        (100, 140, 90, 0.8, 1168.32, 1169, 22.19, 37_200.4),
        (100, 130, 80, 0.6, 1050.67, 1051, 56.87, 26_136.6),
    ],
)
def test_single_order(cost, price, salvage, ratio, quantity, whole, lost, profit):
    found = newsvendor(1000, 200, cost=cost, price=price, salvage=salvage)
    assert found.ratio == pytest.approx(ratio)
    assert found.quantity == pytest.approx(quantity, abs=0.01)
    assert found.whole == whole
    # the printed figures are to two and one decimals at the rounded or the exact quantity
    assert found.lost_sales == pytest.approx(lost, abs=0.15)
    assert found.profit == pytest.approx(profit, abs=1.0)


def test_the_contradicting_key_is_told_apart():
    """N(80,30), cost 140, price 200: a loss of 30 each is a salvage of 110, not a salvage of 30."""
    loss_each = newsvendor(80, 30, cost=140, price=200, salvage=110)
    assert (loss_each.ratio, loss_each.quantity) == (
        pytest.approx(0.6667, abs=5e-5),
        pytest.approx(92.92, abs=0.01),
    )
    brings_30 = newsvendor(80, 30, cost=140, price=200, salvage=30)
    assert (brings_30.ratio, brings_30.quantity) == (
        pytest.approx(0.3529, abs=5e-5),
        pytest.approx(68.68, abs=0.01),
    )


def test_prices_the_wrong_way_round_are_refused():
    with pytest.raises(UnfitProblem, match=r"cost 100, price 90.*salvage < cost < price"):
        newsvendor(80, 30, cost=100, price=90, salvage=10)
