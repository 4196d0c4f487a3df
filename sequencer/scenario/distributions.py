"""Distributions of what is not known exactly, each as the quantile that a share stands for.

A quantile makes a number out of a share of 0 to 1, so whoever spreads shares evenly (at random, in
a Latin hypercube, in a sequence of low discrepancy) gets numbers of the distribution.
"""

from __future__ import annotations

import bisect
from dataclasses import dataclass
from itertools import accumulate
from statistics import NormalDist
from typing import Protocol

__all__ = [
    "LEAST_SHARE",
    "REACH",
    "Discrete",
    "Distribution",
    "Normal",
    "TruncatedNormal",
    "Uniform",
]

#: shares are kept this far from 0: it is half the step between two of them
LEAST_SHARE = 2.0**-54
#: no share that can be drawn is further out than so many standard deviations
REACH = 8.3

_STANDARD = NormalDist()
#: less of a normal distribution between two limits than this is nothing that one can mean
_LEAST_PART = 1e-9


class Distribution(Protocol):
    """What a dispersion draws from."""

    def quantile(self, share: float) -> float:
        """The number that the distribution is below with probability `share`, 0 < share < 1."""

    @property
    def ends(self) -> tuple[float, float]:
        """Least and greatest number that can be drawn."""


@dataclass(frozen=True, slots=True)
class Normal:
    """Normal distribution."""

    mean: float
    sd: float

    def quantile(self, share: float) -> float:
        """M. J. Wichura, algorithm AS 241, Appl. Statist. 37 (1988) 477-484, as in `statistics`."""
        return self.mean + self.sd * _STANDARD.inv_cdf(share)

    @property
    def ends(self) -> tuple[float, float]:
        """As far as shares can reach."""
        return self.mean - REACH * self.sd, self.mean + REACH * self.sd


@dataclass(frozen=True, slots=True)
class TruncatedNormal:
    """Normal distribution of which only what lies between two limits is drawn.

    mean and sd are those of the normal distribution that is cut. Raises ValueError where nothing
    of it lies between the limits.
    """

    mean: float
    sd: float
    low: float
    high: float

    def __post_init__(self) -> None:
        below, above = self._shares()
        if not above - below > _LEAST_PART:
            raise ValueError("has nothing of its normal distribution between low and high")

    def _shares(self) -> tuple[float, float]:
        """Of the normal distribution below both limits, counted from the tail that is nearer."""
        low, high = (self.low - self.mean) / self.sd, (self.high - self.mean) / self.sd
        if low > 0.0:  # above the mean a share is 1 less something tiny: look from the other side
            low, high = -high, -low
        return _STANDARD.cdf(low), _STANDARD.cdf(high)

    def quantile(self, share: float) -> float:
        """Quantile of the part between the limits."""
        below, above = self._shares()
        mirrored = self.low > self.mean
        part = below + (1.0 - share if mirrored else share) * (above - below)
        score = _STANDARD.inv_cdf(min(max(part, LEAST_SHARE), 1.0 - LEAST_SHARE * 2.0))
        number = self.mean + self.sd * (-score if mirrored else score)
        return min(max(number, self.low), self.high)

    @property
    def ends(self) -> tuple[float, float]:
        """The limits."""
        return self.low, self.high


@dataclass(frozen=True, slots=True)
class Uniform:
    """All numbers between two limits alike."""

    low: float
    high: float

    def quantile(self, share: float) -> float:
        """Straight from limit to limit."""
        return min(self.low + share * (self.high - self.low), self.high)

    @property
    def ends(self) -> tuple[float, float]:
        """The limits."""
        return self.low, self.high


@dataclass(frozen=True, slots=True)
class Discrete:
    """One of some numbers, in proportion to their weights. `values` ascend."""

    values: tuple[float, ...]
    weights: tuple[float, ...]

    def quantile(self, share: float) -> float:
        """The first number up to which the weights add up to more than `share`."""
        sums = list(accumulate(self.weights))
        at = bisect.bisect_right(sums, share * sums[-1])
        return self.values[min(at, len(self.values) - 1)]

    @property
    def ends(self) -> tuple[float, float]:
        """The least and the greatest of them."""
        return self.values[0], self.values[-1]
