"""Safety stock and reorder level.

Sources: normal quantiles and the formulas are textbook values.
"""

import pytest

from greaseroute.forecast.stock import reorder_level, safety_stock, z_value


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
