"""What the flights of a campaign come to: probabilities, margins, scatter, and what drives them.

Columns are read one after the other, so memory goes with the number of flights only by a few
numbers for each.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from statistics import NormalDist

import numpy as np
from numpy.typing import NDArray

from sequencer.scenario import OUTCOMES, Scenario
from sequencer.studies.columns import FACTS, input_of, margin_of, status_of
from sequencer.studies.intervals import (
    Interval,
    proportion,
    replicated,
    success_run_sentence,
    tolerance_rank,
)
from sequencer.studies.ranks import Ranked
from sequencer.studies.sampling import Design
from sequencer.studies.shards import Shards

__all__ = [
    "Driver",
    "Requirement",
    "Share",
    "Spread",
    "Summary",
    "Touchdown",
    "Worst",
    "rank_correlations",
    "summarise",
    "widest",
]

#: flights that are named as the worst
WORST = 5
#: inputs that are named as what drives a margin
DRIVERS = 3
STATUSES = ("broken", "met", "not decided", "not exercised")
#: requirements whose columns are read together: files are opened less often, memory stays small
TOGETHER = 8
#: share of all flights that a tolerance limit is about
COVERAGE = 0.95


@dataclass(frozen=True, slots=True)
class Share:
    """How often something came out, and the interval of its probability."""

    name: str
    count: int
    interval: Interval


@dataclass(frozen=True, slots=True)
class Spread:
    """How a number is spread over the flights that have it. Infinite margins count as such.

    limit   at least COVERAGE of all flights are above it, at the confidence of the campaign
            (Wilks); None where there are too few flights or they are not independent
    """

    flights: int
    least: float
    low: float  # 5 % are below
    median: float
    high: float  # 5 % are above
    greatest: float
    limit: float | None


@dataclass(frozen=True, slots=True)
class Driver:
    """An input that goes with a margin: Spearman's rank correlation."""

    quantity: str
    correlation: float


@dataclass(frozen=True, slots=True)
class Requirement:
    """What a requirement came to. `broken` is the share of all flights that broke it."""

    name: str
    unit: str
    counts: Mapping[str, int]
    broken: Share
    margin: Spread | None
    drivers: tuple[Driver, ...]


@dataclass(frozen=True, slots=True)
class Touchdown:
    """Where flights came down: mean and standard deviations, m, and radii about the mean.

    radius_50, radius_95   circles that hold 50 % and 95 % of them, m
    """

    flights: int
    east_m: float
    north_m: float
    east_sd_m: float
    north_sd_m: float
    correlation: float
    radius_50_m: float
    radius_95_m: float


@dataclass(frozen=True, slots=True)
class Worst:
    """A flight with a small margin. Fly it again by its number."""

    flight: int
    outcome: str
    requirement: str
    margin: float
    unit: str


@dataclass(frozen=True, slots=True)
class Summary:
    """A campaign as plain results.

    flights       that were flown, of those of the design
    confidence    of every interval
    look          (which, of how many) it stopped at
    as_expected   flights that came out as the scenario says
    sentences     what that proves, honestly
    """

    scenario: str
    design: Design
    flights: int
    confidence: float
    look: tuple[int, int]
    as_expected: Share
    outcomes: tuple[Share, ...]
    requirements: tuple[Requirement, ...]
    facts: Mapping[str, Spread]
    touchdown: Touchdown | None
    worst: tuple[Worst, ...]
    sentences: tuple[str, ...]
    hashes: Mapping[str, str]


class _Counter:
    """Counts flights and makes intervals, by replicates where the design has some."""

    def __init__(self, design: Design, flights: int, confidence: float) -> None:
        self._confidence = confidence
        self._flights = flights
        self._replicates: NDArray[np.int64] | None = None
        if design.replicates > 1:
            self._replicates = np.arange(flights, dtype=np.int64) % design.replicates
            self._sizes = np.bincount(self._replicates).tolist()

    def share(self, name: str, such: NDArray[np.bool_]) -> Share:
        count = int(np.count_nonzero(such))
        if self._replicates is None:
            interval = proportion(count, self._flights, self._confidence)
        else:
            counts = np.bincount(self._replicates[such], minlength=len(self._sizes)).tolist()
            interval = replicated(counts, self._sizes, self._confidence)
        return Share(name, count, interval)


def summarise(
    shards: Shards,
    scenario: Scenario,
    flights: int,
    confidence: float,
    look: tuple[int, int] = (1, 1),
) -> Summary:
    """Sum up the first `flights` flights of a campaign, all of which have been flown."""
    design = shards.design
    counter = _Counter(design, flights, confidence)
    independent = design.sampling == "plain"
    quantities = [each.name for each in scenario.dispersions.each]
    first = ["as_expected", "outcome", *map(input_of, quantities)]
    read = shards.read(first, flights)
    as_expected = counter.share("as expected", read["as_expected"].astype(bool))
    ended = read["outcome"]
    outcomes = [counter.share(word, ended == word) for word in OUTCOMES]
    inputs = {name: Ranked(read.pop(input_of(name))) for name in quantities}
    tightest = np.full(flights, np.inf)
    whose = np.full(flights, -1)
    requirements = []
    for index, rule in enumerate(scenario.requirements):
        if index % TOGETHER == 0:
            some = scenario.requirements[index : index + TOGETHER]
            names = [column(each.name) for each in some for column in (status_of, margin_of)]
            read = shards.read(names, flights)
        status, margin = read[status_of(rule.name)], read[margin_of(rule.name)]
        known = ~np.isnan(margin)
        broken = status == "broken"
        # a count has nothing to spare in any good flight
        telling = known & (broken | (rule.unit != "1"))
        smaller = telling & (np.where(telling, margin, np.inf) < tightest)
        tightest[smaller], whose[smaller] = margin[smaller], index
        counts = {word: int(np.count_nonzero(status == word)) for word in STATUSES}
        requirements.append(
            Requirement(
                rule.name,
                rule.unit,
                {word: count for word, count in counts.items() if count},
                counter.share(rule.name, broken),
                _spread(margin, confidence, independent=independent),
                rank_correlations(inputs, margin, confidence),
            )
        )
    facts = shards.read(FACTS, flights)
    spreads = {
        name: found
        for name, values in facts.items()
        if (found := _spread(values, confidence, independent=False)) is not None
    }
    order = np.lexsort((np.arange(flights), tightest))[:WORST]
    worst = tuple(
        Worst(
            int(at) + 1,
            str(ended[at]),
            scenario.requirements[whose[at]].name,
            float(tightest[at]),
            scenario.requirements[whose[at]].unit,
        )
        for at in order
        if whose[at] >= 0
    )
    return Summary(
        scenario=scenario.name,
        design=design,
        flights=flights,
        confidence=confidence,
        look=look,
        as_expected=as_expected,
        outcomes=tuple(each for each in outcomes if each.count),
        requirements=tuple(requirements),
        facts=spreads,
        touchdown=_touchdown(facts["touchdown_east_m"], facts["touchdown_north_m"]),
        worst=worst,
        sentences=tuple(_sentences(as_expected, design, flights, confidence)),
        hashes=dict(scenario.hashes),
    )


def widest(shards: Shards, flights: int, confidence: float) -> float:
    """Width of the widest interval of any outcome, requirement, or of coming out as expected."""
    counter = _Counter(shards.design, flights, confidence)
    shares = [counter.share("", shards.column("as_expected", flights).astype(bool))]
    for name in shards.columns:
        if name == "outcome":
            ended = shards.column(name, flights)
            shares += [counter.share(word, ended == word) for word in OUTCOMES]
        elif name.startswith(status_of("")):
            shares.append(counter.share(name, shards.column(name, flights) == "broken"))
    return max(share.interval.width for share in shares)


def rank_correlations(
    inputs: Mapping[str, Ranked],
    margin: NDArray[np.float64],
    confidence: float = 0.95,
) -> tuple[Driver, ...]:
    """The inputs that a margin goes with, strongest first; only those that stand out from chance.

    Spearman's rank correlation over the flights that have a margin. One stands out when it is
    larger than the largest of so many independent ones would be at the confidence
    (normal approximation with variance 1/(n - 1), Bonferroni).
    """
    known = ~np.isnan(margin)
    number = int(np.count_nonzero(known))
    if number < 4 or not inputs:
        return ()
    ranks = Ranked(margin).among(known)
    if ranks is None:
        return ()
    risk = (1.0 - confidence) / len(inputs)
    least = NormalDist().inv_cdf(1.0 - 0.5 * risk) / math.sqrt(number - 1)
    found = []
    for name, values in inputs.items():
        others = values.among(known)
        if others is not None:
            correlation = float((ranks * others).sum())
            if abs(correlation) > least:
                found.append(Driver(name, correlation))
    found.sort(key=lambda driver: -abs(driver.correlation))
    return tuple(found[:DRIVERS])


def _spread(values: NDArray[np.float64], confidence: float, *, independent: bool) -> Spread | None:
    found = np.sort(values[~np.isnan(values)])
    number = len(found)
    if not number:
        return None

    def quantile(share: float) -> float:
        """The smallest value that at least this share does not exceed: no infinity is halved."""
        return float(found[min(max(math.ceil(share * number) - 1, 0), number - 1)])

    # about all flights only where all flights have the number
    rank = None
    if independent and number == len(values):
        rank = tolerance_rank(number, COVERAGE, confidence)
    limit = None if rank is None else float(found[rank - 1])
    return Spread(
        number, quantile(0.0), quantile(0.05), quantile(0.5), quantile(0.95), quantile(1.0), limit
    )


def _touchdown(east: NDArray[np.float64], north: NDArray[np.float64]) -> Touchdown | None:
    down = ~np.isnan(east)
    if not down.any():
        return None
    x, y = east[down], north[down]
    number = len(x)
    away = np.sort(np.hypot(x - x.mean(), y - y.mean()))
    spread = number > 1
    deviations = (float(x.std(ddof=1)), float(y.std(ddof=1))) if spread else (0.0, 0.0)
    moved = spread and min(deviations) > 0.0
    return Touchdown(
        flights=number,
        east_m=float(x.mean()),
        north_m=float(y.mean()),
        east_sd_m=deviations[0],
        north_sd_m=deviations[1],
        correlation=float(np.corrcoef(x, y)[0, 1]) if moved else 0.0,
        radius_50_m=float(away[math.ceil(0.5 * number) - 1]),
        radius_95_m=float(away[math.ceil(0.95 * number) - 1]),
    )


def _sentences(
    as_expected: Share, design: Design, flights: int, confidence: float
) -> Sequence[str]:
    """What the flights prove about the model, and never more."""
    missed = flights - as_expected.count
    if missed == 0 and design.sampling == "plain":
        return [success_run_sentence(flights, confidence)]
    interval = as_expected.interval
    percent = f"{100.0 * confidence:.4g} %"
    text = (
        f"{as_expected.count} of {flights} flights came out as expected: between "
        f"{_down(interval.low)} and {_up(interval.high)} of all do, at {percent} confidence"
    )
    if design.sampling != "plain":
        text += f", by {design.replicates} replicates"
    return [text]


def _down(share: float) -> str:
    return f"{math.floor(1000.0 * share) / 10.0:.1f} %"


def _up(share: float) -> str:
    return f"{math.ceil(1000.0 * share) / 10.0:.1f} %"
