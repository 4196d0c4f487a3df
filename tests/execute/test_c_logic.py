"""The interpreter of tables against the same written by hand in C (bench/cpeer), bit for bit."""

from __future__ import annotations

from functools import partial

import cpeer
import pytest

from sequencer.execute import CompiledExecutor
from sequencer.scenario import dispersed, load_scenario
from sequencer.scenario.starter import demo_folder
from sequencer.testing.agreement import first_difference
from sequencer.testing.soak import pair


@pytest.fixture(scope="module")
def c_step():
    if cpeer.find_compiler() is None:
        pytest.skip("no C compiler: `cc` is not on the path")
    return cpeer.CStep()


@pytest.fixture(scope="module")
def breeze():
    return dispersed(load_scenario(demo_folder() / "breeze.scenario.toml"), 1, 1)


@pytest.fixture(scope="module")
def turns(breeze):
    return cpeer.turns_of(breeze)


def test_both_interpreters_agree_on_every_tick_of_a_flight(breeze, turns, c_step):
    for name, sequence in breeze.sequences.items():
        ours, theirs = CompiledExecutor(sequence), cpeer.CExecutor(sequence, c_step)
        assert len(turns.of[name]) > 1000
        for turn in turns.of[name]:
            given = (turn.clock, turn.values, turn.fresh)
            assert theirs.tick(*given) == ours.tick(*given), (name, turn.clock)
            assert theirs.registers() == ours.registers(), (name, turn.clock)


def test_c_agrees_with_the_reference_on_random_sequences(c_step):
    """All blocks and commands; inputs that are stale, jump, or are no numbers; reboots."""
    in_c = partial(cpeer.CExecutor, step=c_step)
    for number in range(60):
        assert first_difference(pair(11, number), in_c) is None, number


def test_a_whole_flight_in_c_ends_as_ours(breeze, turns, c_step):
    world, told = cpeer.CFlight(breeze, turns, c_step).fly()
    assert world.state["down"] == 1
    assert told == turns.told
    assert min(told.values()) > 20
