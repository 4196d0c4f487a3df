"""Power lost at any moment: outputs off, nothing resumed, waiting times in full once more."""

from __future__ import annotations

import math
from pathlib import Path
from random import Random

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sequencer.execute import Outputs
from sequencer.flight.computer import Computer
from sequencer.flight.model import ModelTarget
from sequencer.scenario import Wires
from sequencer.sequence import Sequence, load_sequence
from sequencer.testing.sequences import random_sequence
from sequencer.world.layout import COMMANDS, empty

RATE_HZ = 100

#: one attempt after another at the same igniter, with the safety code's wait after each
PAD = """\
[sequence]
name = "pad"
about = "tries, waits, tries again"
rate_hz = 100
boot_s = 0.2
start = "safe"

[inputs]
launch = { unit = "bool" }
key = { unit = "bool" }

[limits]
burn = { value = 0.5, unit = "s", tolerance = 0.02, reason = "length of an attempt" }
misfire_wait = { value = 2.0, unit = "s", tolerance = 0.02, reason = "nobody approaches before" }

[flags]
tried = { retained = true }

[inhibits]
key_out = { in_place_when = "not key", reason = "first lock" }
not_trying = { in_place_when = "not in_state(trying)", reason = "second lock" }

[functions]
motor = { kind = "igniter", pulse_s = 1.5, inhibits = ["key_out", "not_trying"] }
horn = { kind = "horn", pulse_s = 1.5 }

[states.safe]
phase = "ground"
[[states.safe.exits]]
to = "waiting"
when = "tried"
[[states.safe.exits]]
to = "trying"
when = "launch and key"

[states.trying]
phase = "ground"
on_entry = ["set tried", "fire motor", "sound horn"]
[[states.trying.exits]]
to = "waiting"
when = "time_in_state >= burn"

[states.waiting]
phase = "ground"
on_entry = ["cut motor"]
[[states.waiting.exits]]
to = "trying"
when = "launch and key"
[[states.waiting.exits]]
to = "approached"
when = "time_in_state >= misfire_wait and not launch"

[states.approached]
phase = "ground"
"""


class Rig:
    """A computer on a bench: its sensors are a list, its outputs a record of the world's."""

    def __init__(self, logic: Sequence) -> None:
        pulsed = [name for name, each in logic.functions.items() if each.kind != "servo"]
        servos = len(logic.functions) - len(pulsed)
        self.pulsed = pulsed
        self.commands = empty(COMMANDS)[0]
        self.events: list[tuple[int, str]] = []
        self.tick = 0
        self.values = np.zeros(len(logic.inputs))
        wires = Wires(
            tuple(range(len(logic.inputs))),
            tuple((i,) for i in range(len(pulsed))),
            tuple(range(servos)),
        )
        target = ModelTarget(logic, "", "reference")
        self.computer = Computer(logic, target, RATE_HZ, wires, self.commands, self.note)

    def note(self, kind: str, name: str, _: str) -> None:
        self.events.append((self.tick, f"{kind} {name}"))

    def run(self, ticks: int = 1) -> None:
        for _ in range(ticks):
            self.computer.sense(self.values, np.ones(len(self.values), dtype=np.int64))
            self.computer.turn(self.tick)
            self.tick += 1

    @property
    def on(self) -> list[str]:
        return [name for i, name in enumerate(self.pulsed) if self.commands["channel"][i]]

    def times(self, label: str) -> list[int]:
        return [tick for tick, each in self.events if each == label]


@given(st.integers(0, 2**32), st.integers(1, 60), st.integers(0, 30))
def test_a_power_cut_at_any_tick_leaves_nothing_on(seed: int, before: int, down: int) -> None:
    """Random sequences and inputs; after the boot only what has been fired again is on."""
    rng = Random(seed)  # noqa: S311 - no secret
    rig = Rig(random_sequence(rng))

    def run(ticks: int) -> None:
        for _ in range(ticks):
            rig.values[:] = [rng.choice([0.0, 1.0, -1.0, 2.0, math.nan]) for _ in rig.values]
            rig.run()

    run(before)
    rig.computer.power_cut("test")
    assert (rig.on, rig.computer.state) == ([], None)
    assert np.isnan(
        rig.commands["servo"][: len(rig.computer.logic.functions) - len(rig.pulsed)]
    ).all()
    silent = len(rig.events)
    run(down)
    assert (rig.on, len(rig.events)) == ([], silent)
    rig.computer.restart("test")
    run(rig.computer.logic.boot_ticks)
    assert rig.on == []
    booted = rig.tick
    for _ in range(20):
        run(1)
        for name in rig.on:
            fired = rig.times(f"fired {rig.computer.name}.{name}")
            assert fired
            assert fired[-1] >= booted


@pytest.fixture
def pad(tmp_path: Path) -> Rig:
    path = tmp_path / "pad.sequence.toml"
    path.write_text(PAD, encoding="utf-8")
    rig = Rig(load_sequence(path))
    rig.values[:] = [1.0, 1.0]  # launch, key
    return rig


def test_a_pulse_is_cut_with_the_power_and_not_taken_up_again(pad: Rig) -> None:
    pad.run(20)
    assert pad.on == ["motor", "horn"]
    pad.computer.power_cut("test")
    assert pad.on == []
    pad.values[:] = [0.0, 1.0]
    pad.run(10)
    pad.computer.restart("test")
    pad.run(150)
    assert pad.on == []
    assert pad.times("ended pad.horn") == []
    assert len(pad.times("booted pad")) == 1


def test_two_reasons_have_to_go_before_a_computer_boots(pad: Rig) -> None:
    pad.computer.power_cut("one")
    pad.computer.power_cut("two")
    pad.computer.restart("one")
    pad.run(50)
    assert pad.times("booted pad") == []
    pad.computer.restart("two")
    pad.run(25)
    assert pad.times("booted pad") == [70]


def test_power_lost_again_while_booting_starts_over(pad: Rig) -> None:
    pad.run(5)
    pad.computer.power_cut("dip")
    pad.computer.restart("dip")
    pad.run(15)
    pad.computer.power_cut("dip")
    pad.run(10)
    pad.computer.restart("dip")
    pad.run(30)
    assert pad.times("booted pad") == [5 + 15 + 10 + 20]


def test_the_wait_after_a_misfire_starts_over_with_each_attempt(pad: Rig) -> None:
    """Safety code: wait after the *last* launch attempt before anyone approaches."""
    pad.run(50)  # the first attempt is over with the next tick
    pad.values[0] = 0.0
    pad.run(150)  # three quarters of the wait
    pad.values[0] = 1.0
    pad.run(2)
    pad.values[0] = 0.0
    pad.run(400)
    last = pad.times("entered pad.trying")[-1]
    assert len(pad.times("entered pad.trying")) == 2
    assert pad.times("entered pad.approached") == [last + 50 + 200]


def test_the_wait_starts_over_with_a_reboot(pad: Rig) -> None:
    """What survives is that it has tried; how long it has waited does not."""
    pad.run(50)
    pad.values[0] = 0.0
    pad.run(150)
    pad.computer.power_cut("test")
    pad.run(5)
    pad.computer.restart("test")
    pad.run(400)
    (booted,) = pad.times("booted pad")
    again = pad.times("entered pad.waiting")[-1]
    assert booted <= again <= booted + 1
    assert pad.times("entered pad.approached") == [again + 200]
    assert pad.on == []


def test_outputs_are_those_of_the_last_tick_while_a_tick_is_late(pad: Rig) -> None:
    """A late tick drives nothing new and lets nothing go: a hang is no power cut."""
    pad.run(20)
    pad.computer.stalls.begin("hang", 1, pad.computer.clock.count)
    pad.run(30)
    assert pad.on == ["motor", "horn"]
    assert pad.computer.state == "trying"
    pad.computer.stalls.end("hang")
    pad.run()
    assert pad.computer.state == "waiting"
    assert pad.on == ["horn"]


def test_what_a_target_answers_is_what_is_driven(pad: Rig) -> None:
    """The rig itself: on and off as the executor says."""
    answers: list[Outputs] = []
    exchange = pad.computer.target.exchange
    pad.computer.target.exchange = lambda *given: answers.append(exchange(*given)) or answers[-1]  # type: ignore[method-assign]
    for _ in range(200):
        pad.run()
        assert pad.on == [n for n, on in zip(pad.pulsed, answers[-1].on, strict=True) if on]


def test_a_computer_boots_with_what_is_said_just_then(pad: Rig) -> None:
    """What its sensors said while it was down is lost: the key is turned back before it is up."""
    pad.computer.power_cut("test")
    pad.run(5)
    pad.computer.restart("test")
    pad.run(pad.computer.logic.boot_ticks)
    silent = np.zeros(len(pad.values), dtype=np.int64)
    pad.computer.sense(pad.values, silent)
    pad.computer.turn(pad.tick)
    assert len(pad.times("booted pad")) == 1
    assert pad.computer.state == "safe"
    for _ in range(50):
        pad.tick += 1
        pad.computer.sense(pad.values, silent)
        pad.computer.turn(pad.tick)
    assert pad.computer.state == "safe"
    pad.run(1)
    assert pad.computer.state == "trying"
