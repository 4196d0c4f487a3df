"""A target that may be late by a tick: what that lets pass, and what not."""

from __future__ import annotations

from dataclasses import replace

import pytest
from odd_targets import CLIMB, UP, Late, Odd, compared, edited, logic_in, same, without


@pytest.fixture
def logic(tmp_path):
    return logic_in(tmp_path)


#: what a target in single precision may do; at 10 Hz its tolerance is one tick
ALLOWED = {
    "nothing": lambda logic: Odd(logic, same, 0.1),
    "a tick late": lambda logic: Late(logic, range(3, 4), 0.1),
    "two ticks late, one after the other": lambda logic: Late(logic, range(3, 5), 0.1),
    "a demand almost the same": lambda logic: Odd(
        logic,
        lambda _, outputs: replace(outputs, demands=tuple(d + 1e-5 for d in outputs.demands)),
        0.1,
    ),
    "a published number almost the same": lambda logic: Odd(
        logic, edited(4, message=lambda told: (told[0], told[1] * (1 + 1e-4))), 0.1
    ),
    "a wrong demand, put right at once": lambda logic: Odd(
        logic, edited(8, demands=lambda _: (0.0, 0.0, 0.0)), 0.1
    ),
}


def stuck(_tick, outputs):
    """The first servo never moves."""
    return replace(outputs, demands=(0.0, *outputs.demands[1:]))


def boastful(_tick, outputs):
    """What is published first is always true."""
    told = outputs.message
    return outputs if told is None else replace(outputs, message=(1.0, *told[1:]))


#: deviation, tick and state of it, what the two did
NOT_ALLOWED = {
    "an event never": (
        edited(3, events=without("fired")),
        "(tick 3, in staging)",
        "the model fired 'nose'",
        "the firmware did not fire it for more than 0.1 s",
    ),
    "an event twice": (
        edited(3, events=lambda events: (*events, ("fired", "nose", ""))),
        "(tick 3, in staging)",
        "the firmware fired 'nose' twice",
        "the model once",
    ),
    "a demand that stays wrong": (
        stuck,
        "(tick 3, in staging)",
        "the model demands 'out' of 'fin'",
        "the firmware demands 'stowed' of 'fin'",
    ),
    "a truth that stays wrong": (
        boastful,
        "(tick 0, in pad)",
        "the model publishes 'out' as false",
        "the firmware publishes 'out' as true",
    ),
}


@pytest.mark.parametrize("name", ALLOWED)
def test_a_tolerance_lets_pass(name, logic):
    assert compared(logic, ALLOWED[name](logic), CLIMB) is None


@pytest.mark.parametrize("name", NOT_ALLOWED)
def test_a_tolerance_does_not_let_pass(name, logic):
    how, when, one, other = NOT_ALLOWED[name]
    found = compared(logic, Odd(logic, how, 0.1), CLIMB)
    assert found.sentence.endswith(f"{when} {one}, {other}")


def test_two_ticks_late_is_too_late_for_a_tolerance_of_one(logic):
    edit = ('name = "high up"', 'name = "high up"\nhold_s = 0.3')
    slow = logic_in(logic.path.parent, edit)
    found = compared(logic, Odd(slow, same, 0.1), [{}, *[UP] * 14])
    assert found.sentence == (
        "flight: at 0.10 s (tick 1, in pad) the model took 'high up', "
        "the firmware stayed until 0.2 s later (2 ticks)"
    )
    assert compared(logic, Odd(slow, same, 0.2), [{}, *[UP] * 14]) is None


def test_a_difference_that_is_told_late_is_told_of_the_tick_on_which_it_began(logic):
    """Eight seconds are eighty ticks, more than are kept to look back at otherwise."""
    found = compared(logic, Odd(logic, edited(3, events=without("fired")), 8.0), CLIMB * 7)
    assert (found.clock, found.state) == (3, "staging")
