"""Six flights of the demo on every kind of target: to the last bit what they are on the model.

All scenarios are flown by `make firmware`; these are short ones, most of them with a reboot, a lost
link or a start that is refused. The flight computer written by hand has six of its own
(test_by_hand.py).
"""

from __future__ import annotations

import os
import pty
import shutil
import subprocess
import tty
from contextlib import ExitStack, contextmanager
from functools import cache
from importlib.util import find_spec

import pytest
from alike import assert_same
from core_rig import images
from kit_rig import programs

import sequencer
from hil.emulated import QEMU
from sequencer.scenario.starter import demo_folder
from sequencer.sequence import load_sequence

DEMO = {name: load_sequence(demo_folder() / f"{name}.sequence.toml") for name in ("flight", "pad")}
#: scenario, and which computers are not the model
FLIGHTS = {
    "start_refused_by_switches": ("flight", "pad"),
    "start_refused_by_the_pad": ("pad",),
    "reboot_at_t_minus_0": ("flight",),
    "pad_reboots_in_ascent": ("pad",),
    "abort_at_release": ("flight",),
    "link_lost_in_count": ("pad",),
}
#: on targets that are fast a whole flight more
FAST = {**FLIGHTS, "calm_landing": ("flight", "pad")}


@cache
def on_the_model(name):
    scenario = sequencer.load(demo_folder() / f"{name}.scenario.toml")
    return scenario, scenario.fly()


def fly(name, target):
    """Fly a scenario with its computers each on a target, `target(computer)`."""
    scenario, model = on_the_model(name)
    record = scenario.fly(on=",".join(f"{each}={target(each)}" for each in FAST[name]))
    assert record.divergences == ()
    assert_same(record, model)


@pytest.fixture(scope="module")
def boards():
    """Folder of the images; an emulated board must be there to run them."""
    if shutil.which(QEMU[0]) is None:
        pytest.skip(f"no emulated boards: `{QEMU[0]}` is not on the path")
    return images(*DEMO.values())


@contextmanager
def behind_a_port(image):
    """Name of a port with an emulated board behind it. The pair is ours: an emulator that makes one
    looks at it once a second only."""
    mine, its = pty.openpty()
    tty.setraw(mine)
    tty.setraw(its)
    board = subprocess.Popen([*QEMU, image], stdin=mine, stdout=mine)
    try:
        yield os.ttyname(its)
    finally:
        board.kill()
        board.wait()
        os.close(mine)
        os.close(its)


@pytest.fixture(scope="module")
def ports(boards):
    """Computer -> port; its board goes from flight to flight without being switched off."""
    with ExitStack() as stack:
        yield {name: stack.enter_context(behind_a_port(boards / f"{name}.elf")) for name in DEMO}


@pytest.mark.parametrize("name", FAST)
def test_programs_of_this_host(name):
    folder = programs(DEMO.values())
    fly(name, lambda each: f"exec:{folder}/{each}")


@pytest.mark.parametrize("name", FAST)
def test_the_emulated_core(name):
    if find_spec("unicorn") is None:
        pytest.skip("no emulator: pip install 'drycount[core]'")
    folder = images(*DEMO.values())
    fly(name, lambda each: f"core:{folder}/{each}.elf")


@pytest.mark.parametrize("name", FLIGHTS)
def test_the_emulated_board(name, boards):
    fly(name, lambda each: f"qemu:{boards}/{each}.elf")


@pytest.mark.parametrize("name", FLIGHTS)
def test_the_emulated_board_behind_a_serial_port(name, ports):
    fly(name, lambda each: f"serial:{ports[each]}")
