"""Designs of samples: even in every replicate, independent between them, the same each time."""

from __future__ import annotations

import numpy as np
import pytest

from sequencer.errors import UsageError
from sequencer.studies.sampling import Design


def points(design: Design) -> np.ndarray:
    return np.array([design.shares(flight) for flight in range(1, design.flights + 1)])


@pytest.mark.parametrize("sampling", ["latin", "sobol"])
def test_every_replicate_has_one_point_in_each_stratum(sampling):
    """What makes a Latin hypercube, and what a Sobol sequence of 2^n points is as well."""
    design = Design(64, 7, 5, sampling, 4)
    found = points(design)
    for replicate in range(4):
        rows = [k - 1 for k in range(1, 65) if design.replicate(k) == replicate]
        assert len(rows) == design.size == 16
        strata = np.sort((found[rows] * 16).astype(int), axis=0)
        assert (strata == np.arange(16)[:, None]).all()


@pytest.mark.parametrize("sampling", ["latin", "sobol"])
def test_a_mean_scatters_less_than_with_plain_sampling(sampling):
    """Between replicates, of a sum of shares: plain sampling has 5/12/16 as variance."""
    design = Design(64 * 16, 3, 5, sampling, 64)
    sums = points(design).sum(axis=1)
    means = [sums[replicate::64].mean() for replicate in range(64)]
    assert np.var(means, ddof=1) < 0.1 * 5 / 12 / 16
    assert np.mean(means) == pytest.approx(2.5, abs=0.01)


def test_the_same_seed_gives_the_same_points_and_another_does_not():
    first = points(Design(32, 1, 3, "latin", 2))
    assert (first == points(Design(32, 1, 3, "latin", 2))).all()
    assert (first != points(Design(32, 2, 3, "latin", 2))).all()
    assert ((first > 0.0) & (first < 1.0)).all()


def test_plain_flights_draw_for_themselves():
    design = Design(10, 1, 3)
    assert design.shares(10) is None
    assert design.replicate(10) == 0


@pytest.mark.parametrize(
    ("arguments", "what"),
    [
        ((100, 1, 3, "latin", 16), "no multiple of 16 replicates; the nearest are 96"),
        ((3, 1, 3, "latin", 16), "the nearest are 16"),
        ((160, 1, 3, "sobol", 16), "flights = replicates * 2^n; the nearest are 128"),
        ((224, 1, 3, "sobol", 16), "the nearest are 256"),
        ((100, 1, 3, "latin", 1), "needs at least 2 replicates"),
        ((100, 1, 3, "plain", 4), "plain sampling has no replicates"),
    ],
)  # fmt: skip
def test_numbers_that_do_not_fit_are_one_line(arguments, what):
    with pytest.raises(UsageError) as caught:
        Design(*arguments)
    assert what in str(caught.value)


def test_a_flight_that_is_not_there_is_refused():
    with pytest.raises(UsageError, match="there is no flight 11 among 10"):
        Design(10, 1, 3).shares(11)
