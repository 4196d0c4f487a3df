"""The world's step against the same model written by hand in C (bench/cpeer).

A flight is flown once by our own loop; then both steps get the same commands, tick by tick.
"""

from __future__ import annotations

import cpeer
import numpy as np
import pytest

from sequencer.scenario import dispersed, load_scenario
from sequencer.scenario.starter import demo_folder
from sequencer.world import World

SEED = 1
CLOSE = 1e-9
FLIGHTS = {
    "calm_landing": lambda scenario: scenario,
    "breeze": lambda scenario: dispersed(scenario, 1, SEED),  # gusts, noise and scatter
    "motor_bursts_in_ascent": lambda scenario: scenario,  # a fault, and no landing burn
}


@pytest.fixture(scope="module")
def c_step():
    if cpeer.find_compiler() is None:
        pytest.skip("no C compiler: `cc` is not on the path")
    return cpeer.CStep()


def same(one, other):
    """Whether two records hold the same numbers to 1e-9; NaN equals NaN."""
    return all(
        np.allclose(one[name], other[name], rtol=0.0, atol=CLOSE, equal_nan=True)
        for name in one.dtype.names
    )


def unlike(one, other):
    return [name for name in one.dtype.names if not np.array_equal(one[name], other[name])]


@pytest.mark.parametrize("name", FLIGHTS)
def test_both_steps_fly_the_same_flight(c_step, name):
    scenario = FLIGHTS[name](load_scenario(demo_folder() / f"{name}.scenario.toml"))
    commands = cpeer.commands_of(scenario)
    ours, theirs = World(scenario.params), cpeer.CWorld(scenario.params, c_step)
    for tick, given in enumerate(commands):
        for one, other in ((ours.state, theirs.state), (ours.out, theirs.out)):
            if one.tobytes() != other.tobytes():
                assert same(one, other), (tick, unlike(one, other))
        ours.step(given)
        theirs.step(given)
    assert ours.state["down"] == 1
    for fact in ("down_tick", "down_east", "down_north", "down_speed", "down_cosine"):
        assert theirs.state[fact] == pytest.approx(ours.state[fact], rel=0.0, abs=CLOSE), fact


def test_one_step_takes_over_where_the_other_left_off(c_step):
    scenario = load_scenario(demo_folder() / "breeze.scenario.toml")
    commands = cpeer.commands_of(scenario)
    half = len(commands) // 2
    whole, mixed = World(scenario.params), World(scenario.params)
    for given in commands:
        whole.step(given)
    c_step.run(mixed.memory, commands[:half])
    for given in commands[half:]:
        mixed.step(given)
    assert mixed.state["tick"] == whole.state["tick"]
    assert same(mixed.state, whole.state)
