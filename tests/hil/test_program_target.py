"""A board that is a program on this host: whole flights, and what goes wrong with programs."""

from __future__ import annotations

import os
import shlex
import shutil
import subprocess
import sys
import time
from pathlib import Path

import pytest
from alike import assert_same
from wires import DEMO, sequence_in

import sequencer
from hil.targets import ProgramTarget
from sequencer.errors import UsageError
from sequencer.flight.target import check_target, one_at_a_time

BOARD = Path(__file__).parent / "reference_board.py"
PROGRAM = f"exec:{shlex.quote(sys.executable)} {shlex.quote(str(BOARD))}"
BOTH = f"{PROGRAM} {shlex.quote(str(DEMO))}/{{computer}}.sequence.toml"
#: scenario, and what is no model in it
FLIGHTS = [
    ("reboot_at_t_minus_0", BOTH),
    ("calm_landing", f"flight={BOTH}"),
    ("late_ticks_at_burn", f"flight={BOTH}"),
    ("reboot_in_ascent", f"flight={BOTH}"),
    ("pad_reboots_in_ascent", f"pad={BOTH}"),
    ("link_lost_in_count", f"flight=model,pad={BOTH}"),
]


@pytest.mark.parametrize(("name", "on"), FLIGHTS)
def test_a_flight_on_a_program_is_the_flight_on_the_model(name, on):
    scenario = sequencer.load(DEMO / f"{name}.scenario.toml")
    program, model = scenario.fly(on=on), scenario.fly()
    assert_same(program, model)
    about = {f"firmware {computer}" for computer in scenario.scenario.sequences}
    made = program.hashes.keys() - model.hashes.keys()
    assert made == about if on == BOTH else made < about
    assert all(len(program.hashes[name]) == 64 for name in made)


@pytest.mark.parametrize(
    ("spec", "line"),
    [
        ("exec:", "needs a program"),
        ("exec:'half", "no closing quotation"),
        ("flight=exec:a,pad=exec:", "needs a program"),
        ("flight=exec:a,flight=model", "names computer 'flight' twice"),
        ("flight=exac:a", "unknown target 'exac:a'; did you mean 'exec'"),
        ("serial:", "needs a port"),
        ("serial:/dev/null@fast", "'fast' is no baud rate"),
        ("serial:/dev/null@1", "'1' is no baud rate"),
    ],
)
def test_targets_that_cannot_be(spec, line):
    with pytest.raises(UsageError, match=line) as caught:
        check_target(spec, "compiled")
    assert "\n" not in str(caught.value)


def test_targets_for_one_computer_are_asked_one_by_one():
    check_target("flight=exec:a b,c,pad=model", "compiled")
    assert one_at_a_time("flight=serial:/dev/x,pad=model")
    assert not one_at_a_time("flight=exec:a")


def test_a_target_for_a_computer_that_does_not_fly():
    scenario = sequencer.load(DEMO / "calm_landing.scenario.toml")
    with pytest.raises(UsageError, match="unknown computer 'flihgt'; did you mean 'flight'"):
        scenario.fly(on="flihgt=model")


@pytest.mark.parametrize(
    ("words", "line"),
    [
        (["/nowhere/firmware"], "cannot be started: no such program"),
        ([str(BOARD)], "cannot be started"),
        (["true"], "program 'true' .*(ended with status 0|cannot be written to)"),
        (["sh", "-c", "echo out of tape >&2; exit 3"], "ended with status 3: out of tape"),
    ],
)
def test_programs_that_are_no_board(tmp_path, monkeypatch, words, line):
    monkeypatch.setattr("hil.targets._PROGRAM_PATIENCE_S", 0.3)
    monkeypatch.setattr("hil.streams._GRACE_S", 0.2)
    with pytest.raises(UsageError, match=line) as caught:
        ProgramTarget(sequence_in(tmp_path), shlex.join(words), "compiled")
    assert "\n" not in str(caught.value)


LEFT_ALONE = """
import sys, time
from hil.streams import ProgramStream
says = "import os, time; print(os.getpid(), flush=True); time.sleep(300)"
board = ProgramStream([sys.executable, "-c", says], stays=True)
print(board.read(60).decode().strip(), flush=True)
time.sleep(300)
"""


def is_there(process):
    try:
        os.kill(process, 0)
    except ProcessLookupError:
        return False
    return True


@pytest.mark.skipif(shutil.which("setpriv") is None, reason="no `setpriv` on this system")
def test_an_emulator_ends_with_the_process_that_started_it():
    """Killed, nobody is left to tell it, and the end of its input does not."""
    owner = subprocess.Popen([sys.executable, "-c", LEFT_ALONE], stdout=subprocess.PIPE, text=True)
    with owner:
        emulator = int(owner.stdout.readline())
        assert is_there(emulator)
        owner.kill()
    for _ in range(600):
        if not is_there(emulator):
            return
        time.sleep(0.05)
    pytest.fail("it runs on")
