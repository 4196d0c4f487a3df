"""The kit's link client under sessions that the line has tampered with: a fixed list of them.

`make soak` does this with libFuzzer and ten million; `fuzz_link.c` says what is held against what.
"""

from __future__ import annotations

import os
import struct
import subprocess
import sys
from pathlib import Path

import pytest
from firing_rig import SEQUENCE, WIRING
from fuzz_rig import build_with, built, permits, sessions, tampered

from hil.layout_header import KIT
from sequencer.scenario.starter import demo_folder
from sequencer.sequence import load_sequence

PAD = load_sequence(demo_folder() / "pad.sequence.toml")
WHOLE = [b"".join(entries) for entries in sessions(PAD)]


@pytest.fixture(scope="module")
def folder():
    return built(PAD)


def fed(program, lists):
    """(exit status, counts, what it says of a fault)"""
    given = b"".join(struct.pack("<I", len(each)) + each for each in lists)
    done = subprocess.run([program], input=given, capture_output=True, check=False)
    words = done.stdout.decode().split()
    counts = dict(zip(words[::2], map(int, words[1::2]), strict=True))
    return done.returncode, counts, done.stderr.decode()


def test_sessions_without_a_fault_on_the_line(folder):
    status, counts, said = fed(folder / "fuzz_link", WHOLE)
    assert status == 0, said
    assert counts["ticks"] >= 20
    assert counts["repeated"] >= 8
    assert counts["refused"] >= 10


def test_no_damaged_frame_is_accepted_and_every_session_goes_as_the_page_says(folder):
    status, counts, said = fed(folder / "fuzz_link", tampered(sessions(PAD), 5000, 3))
    assert status == 0, said
    assert counts["strangers"] == 0  # accepted, and nobody has sent it
    assert counts["lists"] == 5000
    assert counts["damaged"] > 15_000
    assert counts["good"] > 50_000
    assert counts["ticks"] > 8_000
    assert counts["repeated"] > 3_000


def test_nothing_is_switched_on_but_under_a_permit(tmp_path_factory):
    """Of a board that may fire into dummy loads; `fuzz_permit.h` says what has to hold."""
    loads = tmp_path_factory.mktemp("loads") / "loads.sequence.toml"
    loads.write_text(SEQUENCE, encoding="utf-8")
    sequence = load_sequence(loads)
    drawn = permits(sequence, WIRING)
    program = built(sequence, WIRING) / "fuzz_link"
    for lists in ([b"".join(each) for each in drawn], tampered(drawn, 5000, 5)):
        status, counts, said = fed(program, lists)
        assert status == 0, said
        assert counts["strangers"] == 0
        assert counts["switched"] >= counts["lists"] / 3


_SPOILT = """\
#define {name} right
#include "{source}"
#undef {name}
{head}
{{
    {body}
}}
"""
_UNPACK = "size_t dc_link_unpack(uint8_t *frame, size_t count)"
_TAKE = "void dc_link_take(dc_link *link, const uint8_t *bytes, size_t count)"


def found_in(folder, tmp_path, file, head, body):
    """What is said of a client one of whose functions is another, around the right one."""
    source = KIT / "bench" / file
    name = head.partition("(")[0].split()[-1]
    text = _SPOILT.format(name=name, source=source, head=head, body=body)
    status, _, said = fed(
        build_with(folder, tmp_path, PAD, file, text), tampered(sessions(PAD), 300, 3)
    )
    assert status != 0
    return said


@pytest.mark.parametrize(
    ("body", "words"),
    [
        (
            "size_t found = right(frame, count); return found > 0 ? found : count > 13 ? 9 : 0;",
            "a damaged frame was accepted",
        ),
        ("return count > 90 ? 0 : right(frame, count);", "a good frame was taken for a damaged"),
        ("return frame[count] == 1 ? 0 : right(frame, count);", "heap-buffer-overflow"),
        (
            "size_t found = right(frame, count); if (found > 30) frame[20] ^= 1; return found;",
            "a payload that was not sent",
        ),
    ],
)
def test_frames_that_are_unpacked_wrongly_are_found(body, words, folder, tmp_path):
    assert words in found_in(folder, tmp_path, "dc_link_frame.c", _UNPACK, body)


@pytest.mark.parametrize(
    ("body", "words"),
    [
        (
            "if (count < 40) link->received = 0; right(link, bytes, count);",
            "something that nobody asked for",
        ),
        ("right(link, bytes, count); link->number -= link->number == 4;", "is sent again without"),
        ("right(link, bytes, count); if (link->number == 3) link->mode = 0;", "before a reset"),
        ("link->nonce |= 1; right(link, bytes, count);", "a request was not answered"),
        ("right(link, bytes, count); link->last_tick = 0;", "a tick that is old"),
        ("link->reply[9] ^= link->kept > 99; right(link, bytes, count);", "has another reply"),
        ("right(link, bytes, count); link->mode &= link->mode == 11 ? 0 : 255;", "while safe"),
    ],
)
def test_sessions_that_go_wrongly_are_found(body, words, folder, tmp_path):
    assert words in found_in(folder, tmp_path, "dc_link.c", _TAKE, body)


@pytest.mark.parametrize(("no_skip", "status"), [("0", 0), ("1", 1)])
def test_the_long_run_says_which_tools_it_lacks(no_skip, status, tmp_path):
    script = Path(__file__).with_name("soak_kit_link.py")
    done = subprocess.run(
        [sys.executable, script, "--folder", tmp_path],
        env={**os.environ, "PATH": "", "DRYCOUNT_NO_SKIP": no_skip},
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == status
    (line,) = done.stderr.splitlines()
    assert line.startswith("the link client was not fuzzed, for want of clang, libclang-rt-dev")
    assert not list(tmp_path.iterdir())
