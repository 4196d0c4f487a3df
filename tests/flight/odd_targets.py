"""Targets that deviate from the model in a chosen way, beside which the model runs.

The sequence is the one of `small_logic`, with servos, a control loop and a message.
"""

from __future__ import annotations

from dataclasses import replace

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


def logic_in(folder, *edits):
    """The sequence, with more of its text replaced."""
    return load_sequence(written(folder, *EDITS, *edits))


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


def same(_tick, outputs):
    """No change."""
    return outputs


def without(*kinds):
    return lambda events: tuple(each for each in events if each[0] not in kinds)


class Late(Odd):
    """The model, one tick behind in state, events, pulses and demands while `span` lasts."""

    def __init__(self, sequence, span, tolerance_s=0.0):
        super().__init__(sequence, self.held_back, tolerance_s)
        self.span = span
        self.last = None

    def held_back(self, tick, outputs):
        before, self.last = self.last, outputs
        owed = before.events if tick - 1 in self.span else ()
        if tick in self.span:
            return replace(
                outputs, state=before.state, events=owed, on=before.on, demands=before.demands
            )
        return replace(outputs, events=(*owed, *outputs.events))
