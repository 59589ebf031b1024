"""Poisson and negative-binomial quantiles against scipy.stats and printed values."""

import pytest
from scipy import stats

from greaseroute.forecast.counts import negative_binomial_quantile, poisson_quantile

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
    assert tuple(poisson_quantile(mean, share) for share in SHARES) == printed


@pytest.mark.parametrize("mean", [0.01, 0.5, 3.3, 17, 250, 2_000])
def test_poisson_scipy(mean):
    for share in (0.001, *SHARES, 0.9999):
        assert poisson_quantile(mean, share) == stats.poisson.ppf(share, mean)


def test_negative_binomial_printed():
    """Mean 12: variance 24 is r = 12, p = 1/2; variance 36 is r = 6, p = 1/3."""
    wide = [negative_binomial_quantile(12, 24, share=share) for share in SHARES]
    assert wide == [5, 11, 16, 19, 21, 26]
    wider = [negative_binomial_quantile(12, 36, share=s) for s in (0.05, 0.50, 0.90, 0.95, 0.99)]
    assert wider == [4, 11, 20, 23, 29]


@pytest.mark.parametrize(("mean", "variance"), [(0.3, 0.9), (4.5, 5), (12, 24), (80, 1_000)])
def test_negative_binomial_scipy(mean, variance):
    size, chance = mean**2 / (variance - mean), mean / variance
    for share in (0.001, *SHARES, 0.9999):
        mine = negative_binomial_quantile(mean, variance, share=share)
        assert mine == stats.nbinom.ppf(share, size, chance)


def test_no_wider_than_poisson_is_poisson():
    assert negative_binomial_quantile(12, 12, share=0.9) == 17
    assert negative_binomial_quantile(12, 3, share=0.9) == 17
