"""A reference board at the end of a wire in memory, with a clock that only waiting moves."""

from __future__ import annotations

import random
from pathlib import Path

from reference_board import ReferenceBoard

from hil.link import Link
from sequencer.sequence import load_sequence

DEMO = Path(__file__).parents[2] / "scenarios"
SMALL = """\
[sequence]
name = "small"
about = "for the link"
rate_hz = 60
boot_s = 0.1
start = "wait"

[inputs]
height = { unit = "m" }
key = { unit = "bool" }

[limits]
high = { value = 5, unit = "m", tolerance = 1, reason = "half way" }

[flags]
seen = { retained = true }

[inhibits]
no_key = { in_place_when = "not key", reason = "the key is out" }
low = { in_place_when = "height < high", reason = "too low" }

[functions]
motor = { kind = "igniter", pulse_s = 0.1, inhibits = ["no_key", "low"] }
flap = { kind = "servo", positions = { shut = 0.0, open = 1.0 }, start = "shut" }
horn = { kind = "horn", pulse_s = 0.05 }

[publish]
period_s = 0.05
fields = ["seen"]

[states.wait]
phase = "ground"
on_entry = ["sound horn"]
[[states.wait.exits]]
to = "go"
when = "height > high"
name = "high enough"

[states.go]
phase = "flight"
on_entry = ["set seen", "fire motor", "move flap open"]
[[states.go.exits]]
to = "wait"
when = "height < high"
do = ["move flap shut"]
"""


def sequence_in(folder, text=SMALL):
    path = folder / "small.sequence.toml"
    path.write_text(text, encoding="utf-8")
    return load_sequence(path)


class Clock:
    """Seconds; waiting for them takes no time."""

    def __init__(self):
        self.now = 100.0

    def __call__(self):
        return self.now


class Wire:
    """What is written is answered at once; reading nothing lets the clock go on."""

    name = "wire"

    def __init__(self, board, clock=None):
        self.board = board
        self.clock = clock or Clock()
        self.coming = board.ready() if board else b""
        self.written = []
        self.closed = False

    def write(self, data):
        self.written.append(data)
        self.board.time_us = int((self.clock.now - 100.0) * 1e6)
        self.coming += self.board.receive(data)

    def read(self, timeout_s):
        self.clock.now += 0.0001 if self.coming else max(timeout_s, 0.0001)
        come, self.coming = self.coming, b""
        return come

    def close(self):
        self.closed = True


def linked(sequence, **otherwise):
    """A link that was greeted, and its wire."""
    wire = Wire(ReferenceBoard(sequence, **otherwise))
    link = Link(wire, nonce=0x5EED1234, clock=wire.clock)
    link.greet()
    return link, wire


def stream_of(sequence, ticks, seed):
    """(tick, values, fresh) as drawn: late ticks left out, bad readings among the good."""
    chance = random.Random(seed)  # noqa: S311 - chance, not secrets
    clock = 0
    for _ in range(ticks):
        values = [
            float(chance.random() < 0.5) if each.unit == "bool" else chance.uniform(-1.0, 12.0)
            for each in sequence.inputs.values()
        ]
        values = [float("nan") if chance.random() < 0.03 else value for value in values]
        yield clock, values, [chance.random() < 0.6 for _ in values]
        clock += 1 + (chance.random() < 0.05)
