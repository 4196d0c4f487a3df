"""Another target beside the model: the first thing in which it differs, and how that is told."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest
from small_logic import DEG, QUIET, written

from sequencer.flight.beside import Beside
from sequencer.flight.model import ModelTarget
from sequencer.flight.target import Boot
from sequencer.sequence import load_sequence

#: put into the small sequence: a servo, a loop that drives another, a message
MORE = """\
fin = { kind = "servo", positions = { stowed = 0.0, out = 1.0 }, start = "stowed" }
gimbal = { kind = "servo", positions_deg = { centre = 0.0 }, start = "centre" }
other = { kind = "servo", positions_deg = { centre = 0.0 }, start = "centre" }
main = { kind = "parachute", pulse_s = 0.3 }

[loops.steer]
block = "thrust_vector_pid"
attitude = "lean"
rate_y = "spin"
rate_z = "spin"
kp = 0.5
ki_per_s = 0.2
kd_s = 0.12
limit_deg = 6.0
outputs = { y = "gimbal", z = "other" }

[publish]
period_s = 0.2
fields = ["out", "climb"]
"""
_ESTIMATES = """\
[estimates]
climb = { expression = "height / 2", unit = "m" }

[estimates.lean]
block = "attitude"
rate_x = "spin"
rate_y = "spin"
rate_z = "spin"
reset_when = "not key"
unit = "deg"
"""
_FUNCTIONS, _REST = MORE.split("\n\n", maxsplit=1)
EDITS = (
    (
        'nose = { kind = "separation"',
        _FUNCTIONS + '\nnose = { kind = "separation"',
    ),
    ("[states.pad]", _REST + "\n[states.pad]"),
    ("out = {}", "out = { retained = true }"),
    ("key = { unit", 'spin = { unit = "deg/s" }\nkey = { unit'),
    (
        "[inhibits]",
        f"{_ESTIMATES}\n[inhibits]",
    ),
    ('name = "parted"', 'name = "parted"\ndo = ["move fin out"]'),
    ('[states.coast]\nphase = "flight"', '[states.coast]\nphase = "flight"\nloops = ["steer"]'),
)
UP = {"height": 60.0}
#: from the pad up, through staging, into the coast
CLIMB = [{}, UP, UP, UP | {"parted": 1.0}, *[UP | {"spin": 2.0}] * 12]


@pytest.fixture
def logic(tmp_path):
    return load_sequence(written(tmp_path, *EDITS))


class Odd(ModelTarget):
    """The model, whose outputs are changed by `how(tick of this boot, outputs)`."""

    def __init__(self, sequence, how, tolerance_s=0.0):
        super().__init__(sequence, "", "reference")
        self.tolerance_s = tolerance_s
        self.how = how
        self.boots = -1

    def reset(self, boot):
        self.boots += 1
        super().reset(boot)

    def exchange(self, tick, values, fresh):
        return self.how(tick, super().exchange(tick, values, fresh))


def compared(logic, target, ticks, *, boots=()):
    """The divergence after these ticks, each a quiet one with changes, or None where it is late.

    boots   ticks before which it boots again
    """
    beside = Beside(target, logic)
    beside.reset(Boot.COLD)
    clock = -1
    for number, changes in enumerate(ticks):
        clock += 1
        if number in boots:
            beside.reset(Boot.WARM)
            clock = 0
        if changes is None:
            continue
        beside.now = number
        values = QUIET | {"spin": 0.0} | changes
        values = {**values, "tilt": values["tilt"] * DEG, "spin": values["spin"] * DEG}
        beside.exchange(clock, [values[put] for put in logic.inputs], [True] * len(values))
    return beside.divergence(logic.rate_hz)


def edited(at, **changes):
    """Fields of the outputs of one tick, by what they were."""

    def how(tick, outputs):
        if tick != at:
            return outputs
        return replace(
            outputs, **{name: change(getattr(outputs, name)) for name, change in changes.items()}
        )

    return how


def without(*kinds):
    return lambda events: tuple(each for each in events if each[0] not in kinds)


SENTENCES = {
    "an event twice": (
        edited(3, events=lambda events: (*events, ("fired", "nose", ""))),
        3,
        "staging",
        "the firmware fired 'nose' twice",
        "the model once",
    ),
    "an event missing": (
        edited(3, events=without("fired")),
        3,
        "staging",
        "the model fired 'nose'",
        "the firmware did not fire it",
    ),
    "an event too many": (
        edited(1, events=lambda events: (*events, ("fired", "nose", ""))),
        1,
        "pad",
        "the firmware fired 'nose'",
        "the model did not fire it until 0.2 s later (2 ticks)",
    ),
    "the wrong function": (
        edited(
            3, events=lambda events: tuple((k, n.replace("nose", "main"), d) for k, n, d in events)
        ),
        3,
        "staging",
        "the model fired 'nose'",
        "the firmware 'main'",
    ),
    "blocked for no reason": (
        edited(
            3,
            events=lambda events: tuple(
                ("blocked", "nose", "key_out") if each[0] == "fired" else each for each in events
            ),
        ),
        3,
        "staging",
        "the model fired 'nose'",
        "the firmware blocked 'nose' (key_out)",
    ),
    "another exit": (
        edited(3, events=lambda events: (("took", "tilt_abort", ""), *events[1:])),
        3,
        "staging",
        "the model took 'parted'",
        "the firmware 'tilt_abort'",
    ),
    "no exit, and never": (
        lambda tick, outputs: replace(outputs, state="pad", events=()) if tick else outputs,
        1,
        "pad",
        "the model took 'high up'",
        "the firmware stayed",
    ),
    "an exit that is not told": (
        edited(1, events=without("took")),
        1,
        "pad",
        "the model took 'high up'",
        "the firmware did not take it, and is in 'staging'",
    ),
    "another order": (
        edited(3, events=lambda events: events[::-1]),
        3,
        "staging",
        "the model took 'parted', entered 'coast', moved 'fin' (out) and fired 'nose'",
        (
            "the firmware did the same in another order: "
            "fired 'nose', moved 'fin' (out), entered 'coast' and took 'parted'"
        ),
    ),
    "another state": (
        edited(2, state=lambda _: "coast"),
        2,
        "staging",
        "the model is in 'staging'",
        "the firmware is in 'coast'",
    ),
    "a pulse that ends early": (
        edited(5, on=lambda on: tuple(False for _ in on)),
        5,
        "coast",
        "the model has 'nose' on",
        "the firmware has 'nose' off",
    ),
    "a demand missing": (
        edited(8, demands=lambda demands: (demands[0], 0.0, demands[2])),
        8,
        "coast",
        "the model demands -0.804664 deg of 'gimbal'",
        "the firmware demands 0 deg of 'gimbal'",
    ),
    "a position missing": (
        edited(8, demands=lambda demands: (0.0, *demands[1:])),
        8,
        "coast",
        "the model demands 'out' of 'fin'",
        "the firmware demands 'stowed' of 'fin'",
    ),
    "a message missing": (
        edited(4, message=lambda _: None),
        4,
        "coast",
        "the model publishes a message",
        "the firmware publishes nothing",
    ),
    "a message too many": (
        edited(5, message=lambda _: (0.0, 30.0)),
        5,
        "coast",
        "the model publishes nothing",
        "the firmware publishes a message",
    ),
    "a number published": (
        edited(4, message=lambda told: (told[0], told[1] + 1e-9)),
        4,
        "coast",
        "the model publishes 'climb' as 30 m",
        "the firmware publishes 'climb' as 30.000000001 m",
    ),
    "a truth published": (
        edited(4, message=lambda told: (1.0, told[1])),
        4,
        "coast",
        "the model publishes 'out' as false",
        "the firmware publishes 'out' as true",
    ),
    "a bad value published": (
        edited(4, message=lambda told: (told[0], math.nan)),
        4,
        "coast",
        "the model publishes 'climb' as 30 m",
        "the firmware publishes 'climb' as bad",
    ),
}


@pytest.mark.parametrize("name", SENTENCES)
def test_the_first_difference_is_told_in_a_sentence(name, logic):
    how, tick, state, one, other = SENTENCES[name]
    found = compared(logic, Odd(logic, how), CLIMB)
    assert found is not None
    assert found.sentence == f"flight: at 0.{tick}0 s (tick {tick}, in {state}) {one}, {other}"
    assert (found.computer, found.tick, found.clock, found.state) == ("flight", tick, tick, state)


def test_the_model_beside_itself_differs_in_nothing(logic):
    assert compared(logic, Odd(logic, lambda _, outputs: outputs), CLIMB * 3) is None
