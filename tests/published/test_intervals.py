"""What flights prove, against tables, SciPy, statsmodels and a problem with a known answer."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import stats
from statsmodels.stats.proportion import proportion_confint

from sequencer.studies.intervals import (
    clopper_pearson,
    proportion,
    replicated,
    success_run,
    success_run_reliability,
    success_run_sentence,
    tolerance_rank,
    tolerance_size,
    wilson,
)

#: count, flights, Wilson, Clopper-Pearson
TABLE = [
    (0, 10, (0.0, 0.2775327999), (0.0, 0.3084971078)),
    (0, 30, (0.0, 0.1135133932), (0.0, 0.1157033082)),
    (0, 100, (0.0, 0.0369934982), (0.0, 0.0362166926)),
    (0, 300, (0.0, 0.0126429712), (0.0, 0.0122209747)),
    (1, 20, (0.0088814488, 0.2361311934), (0.0012650895, 0.2487327628)),
    (5, 10, (0.2365930905, 0.7634069095), (0.1870860284, 0.8129139716)),
    (15, 20, (0.5312991224, 0.8881382986), (0.5089541283, 0.9134285309)),
    (95, 100, (0.8882495308, 0.9784563208), (0.8871650889, 0.9835681208)),
    (99, 100, (0.9455138038, 0.9982325679), (0.9455406146, 0.9997468540)),
    (990, 1000, (0.9816905311, 0.9945592456), (0.9816867569, 0.9951944893)),
]


@pytest.mark.parametrize(("count", "flights", "score", "exact"), TABLE)
def test_intervals_as_tabulated(count, flights, score, exact):
    """95 % limits worked out beforehand with scipy.stats.binomtest and statsmodels [L]."""
    for found, expected in (
        (wilson(count, flights), score),
        (clopper_pearson(count, flights), exact),
    ):
        assert (found.low, found.high) == pytest.approx(expected, abs=5e-11)
        assert found.estimate == count / flights


@pytest.mark.parametrize("confidence", [0.8, 0.95, 0.999])
def test_intervals_agree_with_scipy_and_statsmodels(confidence):
    """scipy.stats.binomtest and statsmodels proportion_confint on a grid [L]."""
    for flights in (1, 2, 17, 299, 5000):
        for count in {0, 1, flights // 3, flights // 2, flights - 1, flights}:
            test = stats.binomtest(count, flights)
            for function, theirs, name in (
                (wilson, "wilson", "wilson"),
                (clopper_pearson, "exact", "beta"),
            ):
                found = function(count, flights, confidence)
                ci = test.proportion_ci(confidence, theirs)
                assert (found.low, found.high) == pytest.approx((ci.low, ci.high), abs=1e-12)
                other = proportion_confint(count, flights, 1.0 - confidence, name)
                assert (found.low, found.high) == pytest.approx(other, abs=1e-12)


def test_intervals_as_printed_by_newcombe():
    """81 of 263: R. G. Newcombe, Statist. Med. 17 (1998) 857-872, table I, four digits [M]."""
    found = wilson(81, 263)
    assert (round(found.low, 4), round(found.high, 4)) == (0.2553, 0.3662)
    found = clopper_pearson(81, 263)
    assert (round(found.low, 4), round(found.high, 4)) == (0.2527, 0.3676)


def test_rare_ones_get_the_exact_interval():
    """Which of the two is taken is our own choice: common practice, no source."""
    assert proportion(5, 1000) == clopper_pearson(5, 1000)
    assert proportion(996, 1000) == clopper_pearson(996, 1000)
    assert proportion(6, 1000) == wilson(6, 1000)


@pytest.mark.parametrize(
    ("flights", "limit"),
    [
        (10, 0.258865550893),
        (20, 0.139108340668),
        (30, 0.0950338528553),
        (50, 0.0581550791170),
        (100, 0.0295130496070),
        (300, 0.00993608194446),
        (1000, 0.00299124954510),
    ],
)
def test_zero_failures_and_the_rule_of_three(flights, limit):
    """1 - 0.05^(1/n) [C], never above 3/n: Jovanovic & Levy, Am. Stat. 51 (1997) 137 [T]."""
    shown = 1.0 - success_run_reliability(flights)
    assert shown == pytest.approx(limit, rel=1e-11)
    assert shown <= 3.0 / flights


@pytest.mark.parametrize(
    ("confidence", "sizes"),
    [
        (0.50, (4, 7, 14, 69, 139, 693)),
        (0.80, (8, 16, 32, 161, 322, 1609)),
        (0.90, (11, 22, 45, 230, 460, 2302)),
        (0.95, (14, 29, 59, 299, 598, 2995)),
        (0.99, (21, 44, 90, 459, 919, 4603)),
    ],
)
def test_success_runs_as_tabulated(confidence, sizes):
    """n = ceil(ln(1-C)/ln R) [C; the formula T]. The form with one less is not ours."""
    found = [success_run(r, confidence) for r in (0.8, 0.9, 0.95, 0.99, 0.995, 0.999)]
    assert tuple(found) == sizes


@pytest.mark.parametrize(
    ("reliability", "confidence", "sizes"),
    [
        (0.95, 0.95, (59, 93, 124, 153)),
        (0.99, 0.95, (299, 473, 628, 773)),
        (0.90, 0.90, (22, 38, 52, 65)),
        (0.999, 0.95, (2995, 4742, 6294, 7752)),
        (0.99, 0.99, (459, 662, 838, 1001)),
    ],
)
def test_success_runs_with_failures_allowed(reliability, confidence, sizes):
    """Exact binomial sums [C]."""
    assert tuple(success_run(reliability, confidence, k) for k in range(4)) == sizes


@pytest.mark.parametrize(
    ("flights", "sentence"),
    [
        (1, "1 flight without a failure shows 5 % at 95 % confidence"),
        (29, "29 flights without a failure show 90 % at 95 % confidence"),
        (298, "298 flights without a failure show 98 % at 95 % confidence"),
        (299, "299 flights without a failure show 99 % at 95 % confidence"),
        (2995, "2995 flights without a failure show 99.9 % at 95 % confidence"),
    ],
)
def test_the_sentence_never_promises_more_than_was_shown(flights, sentence):
    """Success run, rounded down [C]."""
    assert success_run_sentence(flights) == sentence


def test_tolerance_limits_as_tabulated():
    """S. S. Wilks, Ann. Math. Stat. 12 (1941) 91-96 and 13 (1942) 400-409 [C; T2]."""
    assert [tolerance_size(0.95, 0.95, k) for k in range(1, 6)] == [59, 93, 124, 153, 181]
    two_sided = [tolerance_size(0.95, 0.95, k, two_sided=True) for k in range(1, 4)]
    assert two_sided == [93, 153, 208]
    assert [tolerance_size(0.95, 0.99, k) for k in range(1, 4)] == [90, 130, 165]
    assert [tolerance_size(0.99, 0.95, k) for k in range(1, 4)] == [299, 473, 628]


@pytest.mark.parametrize("flights", [1, 58, 59, 92, 93, 180, 181, 5000])
def test_the_rank_of_a_tolerance_limit_fits_the_tabulated_sizes(flights):
    """The same tables read the other way, and the beta distribution of SciPy [L]."""
    rank = tolerance_rank(flights)
    if flights < 59:
        assert rank is None
        return
    assert tolerance_size(0.95, 0.95, rank) <= flights < tolerance_size(0.95, 0.95, rank + 1)
    assert stats.beta.sf(0.05, rank, flights + 1 - rank) <= 0.05 + 1e-12


def test_replicates_give_the_t_interval_of_their_shares():
    """scipy.stats.t.interval over the shares [L]."""
    counts, sizes = [3, 5, 4, 9], [100, 100, 100, 100]
    shares = np.array(counts) / 100
    low, high = stats.t.interval(0.9, 3, shares.mean(), stats.sem(shares))
    found = replicated(counts, sizes, 0.9)
    assert (found.low, found.high) == pytest.approx((low, high), rel=1e-12)


def test_replicates_that_say_nothing_of_their_spread_count_as_single_flights():
    """Common practice, no source."""
    assert replicated([0, 0], [50, 50]) == clopper_pearson(0, 100)
    assert replicated([50, 50], [50, 50]) == clopper_pearson(100, 100)


def test_a_known_probability_lies_inside_at_the_stated_rate():
    """P(height >= h) for h = v^2/2g with normal v, in closed form, over 200 seeds [C].

    At 95 % at least 95 % - 3 standard errors of 200 trials must hold the truth.
    """
    mean, spread, floor = 40.0, 3.0, 70.0
    truth = stats.norm.sf(math.sqrt(2.0 * 9.80665 * floor), mean, spread)
    least = 0.95 - 3.0 * math.sqrt(0.95 * 0.05 / 200)
    for flights in (40, 400):
        held = 0
        for seed in range(200):
            speed = np.random.default_rng(seed).normal(mean, spread, flights)
            count = int(np.count_nonzero(speed**2 / (2.0 * 9.80665) >= floor))
            found = proportion(count, flights)
            held += found.low <= truth <= found.high
        assert held / 200 >= least


@pytest.mark.parametrize(
    "call",
    [
        lambda: wilson(3, 2),
        lambda: wilson(0, 0),
        lambda: clopper_pearson(-1, 5),
        lambda: wilson(1, 2, 1.0),
        lambda: success_run(1.0, 0.95),
        lambda: success_run(0.9, 0.95, -1),
        lambda: success_run(1.0 - 1e-12, 0.95),
        lambda: success_run_reliability(0),
        lambda: tolerance_size(0.95, 0.95, 0),
        lambda: replicated([1], [2]),
    ],
)
def test_what_cannot_be_is_refused(call):
    with pytest.raises(ValueError, match=r"."):
        call()
