"""Quantiles and draws of dispersions against SciPy."""

from __future__ import annotations

import pytest
from scipy import stats

from sequencer.scenario.distributions import (
    REACH,
    Discrete,
    Normal,
    TruncatedNormal,
    Uniform,
)
from sequencer.world.chance import uniform_pair

SHARES = [2.0**-54, 1e-9, 0.001, 0.025, 0.3, 0.5, 0.8, 0.975, 0.9999, 1.0 - 2.0**-53]


def test_normal_quantiles_agree_with_scipy():
    """scipy.stats.norm.ppf [L]."""
    made = Normal(34.0, 0.7)
    for share in SHARES:
        assert made.quantile(share) == pytest.approx(stats.norm.ppf(share, 34.0, 0.7), rel=1e-13)
        assert made.ends[0] <= made.quantile(share) <= made.ends[1]
    assert stats.norm.cdf(-REACH) < 2.0**-54


@pytest.mark.parametrize(
    ("low", "high"), [(-1.0, 2.0), (0.5, 0.6), (3.0, 5.0), (-6.0, -3.0), (-40.0, 0.0), (-9.0, 9.0)]
)
def test_truncated_normal_quantiles_agree_with_scipy(low, high):
    """scipy.stats.truncnorm.ppf, limits in standard deviations [L]."""
    made = TruncatedNormal(10.0, 2.0, 10.0 + 2.0 * low, 10.0 + 2.0 * high)
    for share in SHARES[1:-1]:
        theirs = stats.truncnorm.ppf(share, low, high, 10.0, 2.0)
        assert made.quantile(share) == pytest.approx(theirs, rel=1e-8)
    for share in SHARES:
        assert made.low <= made.quantile(share) <= made.high


def test_uniform_and_discrete_quantiles():
    """By definition of a quantile [C]."""
    assert [Uniform(2.0, 4.0).quantile(share) for share in (0.0, 0.25, 1.0)] == [2.0, 2.5, 4.0]
    dice = Discrete((1.0, 2.0, 5.0), (1.0, 2.0, 1.0))
    assert [dice.quantile(share) for share in (0.1, 0.25, 0.7, 0.76, SHARES[-1])] == [1, 2, 2, 5, 5]


@pytest.mark.parametrize(
    ("made", "theirs"),
    [
        (Normal(1.0, 2.0), stats.norm(1.0, 2.0)),
        (TruncatedNormal(0.0, 1.0, -0.5, 2.0), stats.truncnorm(-0.5, 2.0)),
        (Uniform(-3.0, 5.0), stats.uniform(-3.0, 8.0)),
    ],
)
def test_draws_follow_their_distribution(made, theirs):
    """Kolmogorov and Smirnov's test of 2000 draws, scipy.stats.kstest [L]; the seed is fixed."""
    draws = [made.quantile(max(uniform_pair(7, n, 1 << 31, 0)[0], 2.0**-54)) for n in range(2000)]
    assert stats.kstest(draws, theirs.cdf).pvalue > 0.01
