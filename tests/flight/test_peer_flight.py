"""The twin against a second flight of the same vehicle, written apart from it (bench/peer)."""

from __future__ import annotations

import math
from collections import defaultdict
from dataclasses import replace

import numpy as np
import peer
import pytest

from sequencer.flight import fly
from sequencer.scenario import load_scenario
from sequencer.scenario.starter import demo_folder

#: what the peer does not follow: the booster once it has left, and the cable
NOT_FLOWN = {"ejected A1", "deployed booster", "opened booster", "booster_down", "umbilical_parted"}


@pytest.fixture(scope="module")
def scenario():
    return peer.quiet(load_scenario(demo_folder() / "calm_landing.scenario.toml"))


@pytest.fixture(scope="module")
def twin(scenario):
    return fly(scenario)


@pytest.fixture(scope="module")
def other(scenario):
    return peer.fly(scenario)


def ticks(events):
    found = defaultdict(list)
    for tick, label in events:
        if label not in NOT_FLOWN:
            found[label].append(tick)
    return found


def test_the_same_events_at_the_same_times(twin, other):
    """Each event by itself, since facts of one tick have no order; one tick for roundings."""
    ours = ticks((event.tick, event.label) for event in twin.events)
    theirs = ticks(other.events)
    assert {label: len(each) for label, each in ours.items()} == {
        label: len(each) for label, each in theirs.items()
    }
    for label, each in ours.items():
        assert each == pytest.approx(theirs[label], abs=1.001), label


def test_each_computer_does_the_same_things_in_the_same_order(twin, other):
    for computer in ("pad", "flight"):
        ours = [event.label for event in twin.events if event.name.startswith(f"{computer}.")]
        theirs = [label for _, label in other.events if f" {computer}." in label]
        assert ours == theirs


def test_the_same_touchdown(twin, other):
    down, facts = other.touchdown, twin.facts
    assert abs(facts["flight_s"] - down.time_s) <= 0.01
    assert (
        math.hypot(
            facts["touchdown_east_m"] - down.east_m, facts["touchdown_north_m"] - down.north_m
        )
        <= 0.02
    )
    assert facts["touchdown_speed_m_s"] == pytest.approx(down.speed, abs=0.005)
    assert facts["touchdown_sideways_m_s"] == pytest.approx(down.sideways, abs=0.005)
    assert facts["apogee_m"] == pytest.approx(other.apogee_m, abs=0.001)


def test_the_same_way(twin, other):
    ours = np.column_stack([twin[name] for name in ("east_m", "north_m", "up_m")])
    theirs = np.array(other.path)
    assert ours.shape == theirs.shape
    assert np.linalg.norm(ours - theirs, axis=1).max() < 0.02


def test_in_steps_as_short_as_ours_the_ascent_is_the_same_within_a_millimetre(scenario, twin):
    """What `make bench` compares step for step is the same flight."""
    ascent = replace(scenario, stop_ticks=1500)
    theirs = np.array(peer.fly(ascent, steps=int(scenario.params["substeps"])).path)
    ours = np.column_stack([twin[name] for name in ("east_m", "north_m", "up_m")])[: len(theirs)]
    assert theirs[-1, 2] > 20.0
    assert np.linalg.norm(ours - theirs, axis=1).max() < 0.001


def test_the_peer_refuses_what_it_does_not_know():
    breeze = load_scenario(demo_folder() / "breeze.scenario.toml")
    with pytest.raises(ValueError, match="calm scenarios without faults"):
        peer.fly(breeze)
