"""A board written from docs/link.md alone, by somebody who had seen nothing else of drycount.

Its flight logic is its own (`second_board/logic.c`). It is written down once more as a sequence,
whose holds count the first true tick too.
"""

from __future__ import annotations

import math
import subprocess
from pathlib import Path

import pytest
from kit_rig import need, run
from test_link_session import frames_on_the_page

from hil.frames import FrameDecoder, encode
from hil.messages import Kind, Packet, refusal
from sequencer.errors import UsageError
from sequencer.flight.target import Boot, open_target
from sequencer.sequence import load_sequence

HERE = Path(__file__).parent / "second_board"
FIRST = (9.75, 0.0, 0.0, 1.0)
#: what changes, by tick: {tick: {input: value}}
FLIGHTS = {
    "there and back": (
        Boot.COLD,
        170,
        {
            1: {0: 30.0},
            10: {0: -3.0},
            20: {1: -0.1},
            33: {2: math.nan},
            60: {2: 60.0},
            150: {2: 1.0},
        },
    ),
    "the key goes bad under the drogue": (
        Boot.COLD,
        39,
        {1: {0: 30.0}, 10: {0: -3.0}, 20: {1: -0.1}, 35: {3: math.nan}},
    ),
    "a reboot in the air, drogue by the timer without the key": (
        Boot.WARM,
        320,
        {1: {0: 0.0, 1: 10.0, 2: 100.0}, 100: {3: 0.0}},
    ),
}


@pytest.fixture(scope="module")
def board(tmp_path_factory):
    program = tmp_path_factory.mktemp("second") / "board"
    flags = ("-std=c99", "-pedantic", "-Wall", "-Wextra", "-Wconversion", "-Wsign-conversion")
    run([need("cc"), *flags, "-Werror", "-O1", "-o", program, *sorted(HERE.glob("*.c"))])
    return program


@pytest.fixture(scope="module")
def sequence():
    return load_sequence(HERE / "second.sequence.toml")


def ticks(last, changes):
    """(tick, values, fresh) of a flight."""
    values = list(FIRST)
    for tick in range(last + 1):
        new = changes.get(tick, {})
        for at, value in new.items():
            values[at] = value
        yield tick, list(values), [tick == 0 or at in new for at in range(len(values))]


def test_it_flies_as_its_sequence_says(board, sequence):
    words = set()
    target = open_target(f"exec:{board} --sequence {sequence.digest}", sequence, "compiled")
    model = open_target("model", sequence, "reference")
    try:
        for boot, last, changes in FLIGHTS.values():
            target.reset(boot)
            model.reset(boot)
            for given in ticks(last, changes):
                outputs = target.exchange(*given)
                # NaN equals itself in text
                assert repr(outputs) == repr(model.exchange(*given))
                words |= {(word, name) for word, name, _ in outputs.events}
    finally:
        target.close()
        model.close()
    assert {word for word, _ in words} >= {
        *("entered", "took", "set", "cleared", "ended", "cut", "fired", "blocked", "moved")
    }
    assert {name for word, name in words if word == "took"} == {
        way.name for state in sequence.states.values() for way in state.exits
    }


def test_it_says_that_it_is_another_sequence(board, sequence):
    with pytest.raises(UsageError, match="executes sequence 5e90e9ce, but 'second' is "):
        open_target(f"exec:{board}", sequence, "compiled")


def test_it_answers_the_frames_of_the_page(board):
    """Greeted, pinged, made safe, and asked for a tick that is out of step."""
    page = frames_on_the_page()[:8]
    asked = b"".join(bytes.fromhex(line) for _, payload, line in page if payload[0] < 0x80)
    done = subprocess.run([board, "--boots", "3"], input=asked, capture_output=True, check=True)
    said = [Packet.of(payload) for payload in FrameDecoder().feed(done.stdout)]
    replies = [packet for packet in said if packet.kind != Kind.TEXT]  # may come at any time
    kinds = [0xF0, 0x81, 0x88, 0x89, 0xFF]
    assert [packet.kind for packet in replies] == kinds
    assert encode(replies[0].payload()).hex(" ") == page[0][2]
    assert replies[2].body[4:] == bytes([0x11, 0, 0x22])
    assert refusal(replies[4].body)[:2] == (5, 5)
