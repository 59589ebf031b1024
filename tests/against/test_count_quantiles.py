"""Quantiles of counts against printed values."""

import pytest

from greaseroute.forecast.stock import count_quantile

SHARES = (0.05, 0.50, 0.80, 0.90, 0.95, 0.99)


@pytest.mark.parametrize(
    ("mean", "printed"),
    [
        (4.5, (1, 4, 6, 7, 8, 10)),
        (12, (7, 12, 15, 17, 18, 21)),
        (22.5, (15, 22, 26, 29, 31, 34)),
        (63, (50, 63, 70, 73, 76, 82)),
    ],
)
def test_poisson_printed(mean, printed):
    assert tuple(count_quantile(mean, mean, share=share) for share in SHARES) == printed


def test_negative_binomial_printed():
    """Mean 12: variance 24 is r = 12, p = 1/2; variance 36 is r = 6, p = 1/3."""
    assert [count_quantile(12, 24, share=share) for share in SHARES] == [5, 11, 16, 19, 21, 26]
    wider = [count_quantile(12, 36, share=s) for s in (0.05, 0.50, 0.90, 0.95, 0.99)]
    assert wider == [4, 11, 20, 23, 29]


def test_no_wider_than_poisson_is_poisson():
    assert count_quantile(12, 12, share=0.9) == 17
    assert count_quantile(12, 3, share=0.9) == 17
