"""What a number of flights proves: intervals, success runs, tolerance limits.

Everything here is about flights drawn independently of each other, but for `replicated`, which is
for designs whose points are not (Latin hypercube, Sobol) and takes whole replicates as the sample.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from statistics import NormalDist, fmean, stdev

__all__ = [
    "FEW",
    "Interval",
    "clopper_pearson",
    "proportion",
    "replicated",
    "success_run",
    "success_run_reliability",
    "success_run_sentence",
    "tolerance_rank",
    "tolerance_size",
    "wilson",
]

#: up to so many of one sort `proportion` takes the interval that never promises too much
FEW = 5

#: no plan of flights is longer than this
_MOST = 10**9


@dataclass(frozen=True, slots=True)
class Interval:
    """An interval around an estimate, and the confidence in it (0..1, two-sided)."""

    estimate: float
    low: float
    high: float
    confidence: float

    @property
    def width(self) -> float:
        """From end to end."""
        return self.high - self.low


def wilson(count: int, flights: int, confidence: float = 0.95) -> Interval:
    """Interval of a probability from `count` of `flights`, by the score test.

    E. B. Wilson, J. Am. Stat. Assoc. 22 (1927) 209-212. It holds its confidence on average over
    probabilities, not for each of them. Raises ValueError for what is no share.
    """
    _check(count, flights, confidence)
    z = NormalDist().inv_cdf(0.5 + 0.5 * confidence)
    share = count / flights
    scale = 1.0 + z * z / flights
    centre = (share + z * z / (2.0 * flights)) / scale
    half = z / scale * math.sqrt(share * (1.0 - share) / flights + (z / (2.0 * flights)) ** 2)
    low = 0.0 if count == 0 else max(0.0, centre - half)
    high = 1.0 if count == flights else min(1.0, centre + half)
    return Interval(share, low, high, confidence)


def clopper_pearson(count: int, flights: int, confidence: float = 0.95) -> Interval:
    """Interval of a probability from `count` of `flights`, exact: never less than its confidence.

    C. J. Clopper, E. S. Pearson, Biometrika 26 (1934) 404-413, through the quantiles of the beta
    distribution. Raises ValueError as `wilson` does.
    """
    from scipy.special import betaincinv  # noqa: PLC0415 - an extra: only campaigns need it

    _check(count, flights, confidence)
    tail = 0.5 * (1.0 - confidence)
    rest = flights - count
    low = 0.0 if count == 0 else float(betaincinv(count, rest + 1, tail))
    high = 1.0 if rest == 0 else float(betaincinv(count + 1, rest, 1.0 - tail))
    return Interval(count / flights, low, high, confidence)


def proportion(count: int, flights: int, confidence: float = 0.95) -> Interval:
    """`clopper_pearson` where either sort came up to FEW times, else `wilson`.

    With few of one sort the score interval can hold much less than its confidence; with many the
    exact one is only wider.
    """
    rare = min(count, flights - count) <= FEW
    return (clopper_pearson if rare else wilson)(count, flights, confidence)


def replicated(counts: Sequence[int], sizes: Sequence[int], confidence: float = 0.95) -> Interval:
    """Interval of a probability from independent replicates of a design whose points are not.

    counts, sizes    of every replicate, at least two

    Student's t over the shares of the replicates (A. B. Owen, "Monte Carlo theory, methods and
    examples", ch. 10 and 17). Where all replicates came to the same 0 or 1, which says nothing of
    their spread, it is `clopper_pearson` of all points: a design is hardly worse than chance.
    """
    from scipy.special import stdtrit  # noqa: PLC0415 - as in `clopper_pearson`

    if len(counts) != len(sizes) or len(counts) < 2:
        raise ValueError("replicates come in pairs of count and size, at least two")
    for count, size in zip(counts, sizes, strict=True):
        _check(count, size, confidence)
    total = sum(sizes)
    if sum(counts) in (0, total):
        return clopper_pearson(sum(counts), total, confidence)
    shares = [count / size for count, size in zip(counts, sizes, strict=True)]
    number = len(shares)
    half = float(stdtrit(number - 1, 0.5 + 0.5 * confidence)) * stdev(shares) / math.sqrt(number)
    centre = fmean(shares)
    return Interval(centre, max(0.0, centre - half), min(1.0, centre + half), confidence)


def success_run(reliability: float, confidence: float, failures: int = 0) -> int:
    """Flights of which at most `failures` may fail, to show a reliability at a confidence.

    The least n with P(X <= failures) <= 1 - confidence for X binomial(n, 1 - reliability); without
    failures ceil(ln(1 - confidence) / ln(reliability)). (The form with one flight less assumes that
    all reliabilities are equally likely beforehand; we do not.)
    """
    _inside("reliability", reliability)
    _inside("confidence", confidence)
    if failures < 0:
        raise ValueError(f"failures must not be negative (got {failures})")
    # within the rounding of a decimal: 0.9^22 against 0.1 must not hang on the last bit
    risk = (1.0 - confidence) * (1.0 + 1e-12)
    return _least(
        lambda number: _at_most(failures, number, 1.0 - reliability) <= risk, failures + 1
    )


def success_run_reliability(flights: int, confidence: float = 0.95) -> float:
    """Reliability that so many flights without a failure show at a confidence, one-sided."""
    _inside("confidence", confidence)
    if flights < 1:
        raise ValueError(f"it takes at least one flight (got {flights})")
    return math.exp(math.log1p(-confidence) / flights)


def success_run_sentence(flights: int, confidence: float = 0.95) -> str:
    """What so many flights without a failure show, rounded down.

    >>> success_run_sentence(299)
    '299 flights without a failure show 99 % at 95 % confidence'
    """
    percent = 100.0 * success_run_reliability(flights, confidence)
    # as many digits as tell it from 100 %: 99.9 and not 100
    digits = max(0, math.ceil(-math.log10(100.0 - percent)) if percent < 100.0 else 9)
    scale = 10.0**digits
    shown = math.floor(percent * scale * (1.0 + 1e-12)) / scale
    flown = "1 flight" if flights == 1 else f"{flights} flights"
    verb = "shows" if flights == 1 else "show"
    text = f"{shown:.{digits}f}"
    if digits:
        text = text.rstrip("0").rstrip(".")
    return f"{flown} without a failure {verb} {text} % at {100.0 * confidence:g} % confidence"


def tolerance_size(
    coverage: float, confidence: float, order: int = 1, *, two_sided: bool = False
) -> int:
    """Flights needed so that the `order`-th extremes bound a share of all flights at a confidence.

    S. S. Wilks, Ann. Math. Stat. 12 (1941) 91-96: the share between order statistics is beta
    distributed whatever the distribution is. One-sided: the order-th smallest is exceeded by at
    least `coverage` of all flights; two-sided: the order-th smallest and largest hold it between.
    """
    _inside("coverage", coverage)
    _inside("confidence", confidence)
    if order < 1:
        raise ValueError(f"the order is at least 1 (got {order})")
    outside = 2 * order if two_sided else order
    risk = (1.0 - confidence) * (1.0 + 1e-12)
    return _least(lambda n: _at_most(outside - 1, n, 1.0 - coverage) <= risk, outside)


def tolerance_rank(flights: int, coverage: float = 0.95, confidence: float = 0.95) -> int | None:
    """Rank (1: the smallest) of the flight that at least `coverage` of all flights exceed.

    The largest such rank that still holds at the confidence, or None where there are too few
    flights for any (Wilks, as in `tolerance_size`).
    """
    _inside("coverage", coverage)
    _inside("confidence", confidence)
    if flights < 1:
        return None
    from scipy.special import bdtr  # noqa: PLC0415 - as in `clopper_pearson`

    risk = (1.0 - confidence) * (1.0 + 1e-12)
    below, above = 0, flights  # rank `below` holds, `above` does not
    while above - below > 1:
        middle = (below + above) // 2
        if float(bdtr(middle - 1, flights, 1.0 - coverage)) <= risk:
            below = middle
        else:
            above = middle
    return below or None


def _least(holds: Callable[[int], bool], start: int) -> int:
    """The least whole number from `start` for which `holds`, which stays true from there on."""
    low, high = start - 1, start
    while not holds(high):
        low, high = high, 2 * high
        if high > _MOST:
            raise ValueError(f"it would take more than {_MOST} flights")
    while high - low > 1:
        middle = (low + high) // 2
        if holds(middle):
            high = middle
        else:
            low = middle
    return high


def _at_most(count: int, flights: int, chance: float) -> float:
    """P(X <= count) for X binomial(flights, chance), by its few terms."""
    if count >= flights:
        return 1.0
    logs = [
        flights * math.log1p(-chance)
        + math.lgamma(flights + 1)
        - math.lgamma(k + 1)
        - math.lgamma(flights - k + 1)
        + k * (math.log(chance) - math.log1p(-chance))
        for k in range(count + 1)
    ]
    return math.fsum(math.exp(each) for each in logs)


def _check(count: int, flights: int, confidence: float) -> None:
    _inside("confidence", confidence)
    if flights < 1 or not 0 <= count <= flights:
        raise ValueError(f"{count} of {flights} is no share of anything")


def _inside(what: str, value: float) -> None:
    if not 0.0 < value < 1.0:
        raise ValueError(f"the {what} is between 0 and 1 (got {value:g})")
