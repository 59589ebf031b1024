"""Quantiles of counts: Poisson, and negative binomial where the spread is wider."""

import math

from greaseroute.errors import UnfitProblem


def _check(mean: float, share: float) -> None:
    if mean < 0 or not 0 < share < 1:
        raise UnfitProblem(
            "quantile of a count",
            f"mean {mean:g}, share {share:g}",
            limit="mean 0 or more, share between 0 and 1",
            next_step="give the share as 0.95 for 95 %",
        )


def poisson_quantile(mean: float, share: float) -> int:
    """The least count that a Poisson variable of ``mean`` does not exceed with ``share``.

    Summed term by term from e^-mean, in logarithms so that a large mean does not vanish.
    """
    _check(mean, share)
    if mean == 0:
        return 0
    count, log_term, total = 0, -mean, math.exp(-mean)
    while total < share * (1 - 1e-12):
        count += 1
        log_term += math.log(mean / count)
        total += math.exp(log_term)
    return count


def negative_binomial_quantile(mean: float, variance: float, *, share: float) -> int:
    """The least count not exceeded with ``share``, for a count of ``mean`` and wider ``variance``.

    Negative binomial with r = mean^2 / (variance - mean), p = mean / variance; r need not be
    whole. A variance not above the mean has no such distribution: Poisson is used.
    """
    _check(mean, share)
    if variance <= mean or mean == 0:
        return poisson_quantile(mean, share)
    size, chance = mean**2 / (variance - mean), mean / variance
    count, log_term = 0, size * math.log(chance)
    total = math.exp(log_term)
    while total < share * (1 - 1e-12):
        count += 1
        log_term += math.log((size + count - 1) / count * (1 - chance))
        total += math.exp(log_term)
    return count
