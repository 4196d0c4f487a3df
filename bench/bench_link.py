"""What the link costs: a round trip with the exported demo against a bare echo, and a whole flight.

Both stand behind a pseudo terminal, get a sensor frame's bytes and return an output frame's. The
echo is a C program that reads and writes, asked by pyserial's own calls; the link's trip has the
session, the framing and the CRC of both sides in it, and a tick of the flight computer's logic.
They are measured in turn, many short rounds, and the least median counts, so that a busy machine
slows both alike.
"""

from __future__ import annotations

import os
import pty
import shutil
import subprocess
import tempfile
import time
import tty
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from importlib.util import find_spec
from pathlib import Path
from statistics import median

import serial

import sequencer
from hil.building import CROSS, HOST, build_image, build_program
from hil.frames import encode
from hil.messages import Frames, Kind, OutputFlag, Packet
from hil.streams import PortStream
from hil.targets import LinkTarget
from sequencer.flight.beside import Beside
from sequencer.flight.loop import fly_on
from sequencer.flight.target import Boot, Target, open_target
from sequencer.scenario.starter import demo_folder
from sequencer.sequence import load_sequence

__all__ = ["measure"]

_ECHO = """
#include <stdlib.h>
#include <unistd.h>
int main(int count, char **words)
{
    static char bytes[4096];
    size_t in = (size_t)atoi(words[1]), out = (size_t)atoi(words[count - 1]), got;
    for (;;) {
        for (got = 0; got < in;) {
            ssize_t more = read(0, bytes + got, in - got);
            if (more <= 0)
                return 0;
            got += (size_t)more;
        }
        if (write(1, bytes, out) != (ssize_t)out)
            return 1;
    }
}
"""
#: numbers of an image -> how fast it is to be
_IMAGES = {"double": ">= 10", "single": ">= 20", "single_by_hardware": ">= 20"}
_TRIPS = 300
_ROUNDS = 8
_FLIGHTS = 3


def measure() -> list[tuple[str, float, str, str]]:
    """Round trips on a pty, and how fast a flight goes on programs and on an emulated core."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        _build(folder)
        programs = f"{folder}/{{computer}}"
        trip, echo = _round_trips(folder)
        beside = _beside(f"exec:{programs}")
        rows = [
            ("round trip of the link on a pty", trip * 1e6, "us", ""),
            ("bare echo in C on the same pty and sizes", echo * 1e6, "us", ""),
            ("round trip of the link against the echo", trip / echo, "times", "<= 1.5"),
            ("calm landing on programs of this host", _speed(f"exec:{programs}"), "s/s", ">= 50"),
            ("the same against a flight without the model beside it", beside, "times", "<= 1.7"),
        ]
        for image, wanted in _IMAGES.items():
            if (folder / f"pad_{image}.elf").exists() and find_spec("unicorn") is not None:
                speed = _speed(f"core:{programs}_{image}.elf")
                what = f"calm landing on an emulated core, {image.replace('_', ' ')}"
                rows.append((what, speed, "s/s", wanted))
        return rows


def _build(folder: Path) -> None:
    for name in ("flight", "pad"):
        logic = load_sequence(demo_folder() / f"{name}.sequence.toml")
        build_program(folder / name, logic)
        if shutil.which(CROSS) is not None:
            for numbers in _IMAGES:
                build_image(folder / f"{name}_{numbers}.elf", logic, numbers=numbers)
    (folder / "echo.c").write_text(_ECHO, encoding="utf-8")
    compiler = shutil.which(HOST) or HOST
    subprocess.run([compiler, "-O2", "-o", folder / "echo", folder / "echo.c"], check=True)


@contextmanager
def _behind_pty(*words: str | Path) -> Iterator[str]:
    """Name of the port behind which the program runs."""
    mine, its = pty.openpty()
    tty.setraw(mine)
    tty.setraw(its)
    with subprocess.Popen(list(words), stdin=mine, stdout=mine) as program:
        yield os.ttyname(its)
        program.kill()
    os.close(mine)
    os.close(its)


def _round_trips(folder: Path) -> tuple[float, float]:
    """Least medians, s: of the link, and of the echo."""
    logic = load_sequence(demo_folder() / "flight.sequence.toml")
    with ExitStack() as stack:
        target = LinkTarget(logic, PortStream(stack.enter_context(_behind_pty(folder / "flight"))))
        stack.callback(target.close)
        target.reset(Boot.COLD)
        board = target.link.board
        if board is None:
            raise RuntimeError("the board was not greeted")
        frames = Frames(board)
        # a tick on which most sensors said something
        fresh = [number % 4 != 3 for number in range(len(logic.inputs))]
        values = [1.5] * len(logic.inputs)
        ticks = iter(range(1_000_000))

        def ask() -> bytes:
            return target.link.tick(frames.tick(next(ticks), logic.rate_hz, values, fresh))

        ask()
        reply = ask()
        while reply[8] & OutputFlag.MESSAGE or reply[11]:  # as on most ticks
            reply = ask()
        sent = frames.tick(0, logic.rate_hz, values, fresh)
        sizes = [
            len(encode(Packet(Kind.TICK, 1 << 20, 1 << 30, b).payload())) for b in (sent, reply)
        ]
        name = stack.enter_context(_behind_pty(folder / "echo", *map(str, sizes)))
        port = stack.enter_context(serial.Serial(name, timeout=1.0))
        asked = bytes(sizes[0])

        def echo() -> None:
            port.write(asked)
            port.read(sizes[1])

        rounds = [(_median(ask), _median(echo)) for _ in range(_ROUNDS)]
    return min(trip for trip, _ in rounds), min(bare for _, bare in rounds)


def _median(ask: Callable[[], object]) -> float:
    taken = []
    for _ in range(_TRIPS):
        start = time.perf_counter()
        ask()
        taken.append(time.perf_counter() - start)
    return median(taken)


def _beside(on: str) -> float:
    """A flight with the model beside both computers, in times of one without; measured in turn."""
    scenario = sequencer.load(demo_folder() / "calm_landing.scenario.toml").scenario

    def timed(*, beside: bool) -> float:
        with ExitStack() as stack:
            targets: dict[str, Target] = {}
            for name, logic in scenario.sequences.items():
                target = open_target(on, logic, "compiled")
                stack.callback(target.close)
                targets[name] = Beside(target, logic) if beside else target
            start = time.perf_counter()
            fly_on(scenario, targets)
            return time.perf_counter() - start

    timed(beside=True)
    rounds = [(timed(beside=True), timed(beside=False)) for _ in range(_FLIGHTS)]
    return min(both for both, _ in rounds) / min(alone for _, alone in rounds)


def _speed(on: str) -> float:
    """Simulated seconds per second of the calm landing, both computers on a target."""
    scenario = sequencer.load(demo_folder() / "calm_landing.scenario.toml")
    scenario.fly()
    best = 0.0
    for _ in range(_FLIGHTS):
        start = time.perf_counter()
        record = scenario.fly(on=on)
        best = max(best, record.ticks / record.rate_hz / (time.perf_counter() - start))
    return best
