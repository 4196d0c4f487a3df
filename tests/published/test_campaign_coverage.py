"""Whole chains from seed to interval, on a problem whose answer is known in closed form."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import stats

from sequencer.scenario.dispersed import drawn_values, plain_shares
from sequencer.scenario.distributions import Normal, Uniform
from sequencer.scenario.model import Dispersion, Dispersions, Quantity
from sequencer.studies.campaign import looks
from sequencer.studies.intervals import proportion, replicated
from sequencer.studies.sampling import Design

#: of 200 trials at 95 %, three standard errors below
LEAST = 0.95 - 3.0 * math.sqrt(0.95 * 0.05 / 200)


def quantity(name):
    return Quantity(name, "1", 0.0, -math.inf, math.inf, False, lambda *_: None)


#: speed v and drag-free height v^2/2g above a floor that is drawn as well
FOUND = Dispersions(
    (
        Dispersion(quantity("speed"), Normal(40.0, 3.0), "value"),
        Dispersion(quantity("floor"), Uniform(60.0, 80.0), "value"),
    )
)


def truth():
    """P(v^2/2g > floor), by integrating the normal distribution over the floor."""
    floors = np.linspace(60.0, 80.0, 20001)
    return float(np.mean(stats.norm.sf(np.sqrt(2.0 * 9.80665 * floors), 40.0, 3.0)))


def above(shares):
    speed, floor = drawn_values(FOUND, shares)
    return speed * speed / (2.0 * 9.80665) > floor


@pytest.mark.parametrize("sampling", ["plain", "latin", "sobol"])
def test_the_truth_lies_inside_at_the_stated_rate(sampling):
    """v normal, floor uniform: one integral gives the probability [C]; 200 seeds."""
    held = 0
    for seed in range(200):
        design = Design(128, seed, 2, sampling, 1 if sampling == "plain" else 8)
        counts = [0] * design.replicates
        for flight in range(1, 129):
            shares = design.shares(flight) or plain_shares(FOUND, seed, flight)
            counts[design.replicate(flight)] += above(shares)
        if sampling == "plain":
            found = proportion(counts[0], 128)
        else:
            found = replicated(counts, [design.size] * design.replicates)
        held += found.low <= truth() <= found.high
    assert held / 200 >= LEAST


def test_a_campaign_that_stops_early_still_holds_its_confidence():
    """Bernoulli trials stopped at the first look that is narrow enough [C]; 200 seeds."""
    for chance in (0.02, 0.3):
        held = 0
        for seed in range(200):
            such = np.random.default_rng(seed).random(5000) < chance
            for flights, confidence in looks(5000):
                found = proportion(int(such[:flights].sum()), flights, confidence)
                if found.width <= 0.05:
                    break
            held += found.low <= chance <= found.high
        assert held / 200 >= LEAST
