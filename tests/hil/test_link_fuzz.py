"""Frames that were tampered with: no crash, nothing false accepted, in step again at once."""

from __future__ import annotations

import contextlib
import struct
import zlib
from pathlib import Path
from tempfile import TemporaryDirectory

import pytest
from cobs import cobs
from hypothesis import given
from hypothesis import strategies as st
from reference_board import ReferenceBoard
from wires import Wire, sequence_in

from hil.frames import FrameDecoder, encode
from hil.link import Link, LinkError
from hil.messages import Board, Frames, MalformedError, Names, Packet, Ready, Resistances, Text
from hil.soaking import mutated, soak
from hil.targets import LinkTarget
from sequencer.execute import ReferenceExecutor
from sequencer.flight.target import Boot

with TemporaryDirectory() as folder:
    SEQUENCE = sequence_in(Path(folder))

payloads = st.lists(st.binary(min_size=1, max_size=80), min_size=1, max_size=8)
tampering = st.lists(
    st.tuples(
        st.sampled_from(["flip", "drop", "insert", "copy"]), st.integers(0), st.integers(0, 255)
    ),
    max_size=6,
)


def ends_in_one_line(error):
    assert "\n" not in str(error)


@given(payloads, tampering, st.binary(min_size=1, max_size=20))
def test_what_the_decoder_gives_was_sent_and_the_second_good_frame_comes(sent, changes, good):
    wire = mutated(b"".join(map(encode, sent)), changes)
    decoder = FrameDecoder()
    found = decoder.feed(wire)
    assert all(payload in sent for payload in found)
    ends = not wire or wire.endswith(b"\x00")
    first = decoder.feed(encode(good))
    assert first == [good] or not ends
    assert decoder.feed(encode(good)) == [good]


@given(st.binary(max_size=200), st.sampled_from([4, 8]), st.integers(0, 20))
def test_bodies_are_read_or_malformed(body, width, count):
    board = ReferenceBoard(SEQUENCE)
    greeting = Board.of(board.greeting())
    object.__setattr__(greeting, "value_bytes", width)
    object.__setattr__(greeting, "pulses", count)
    for reader in (Board.of, Names.of, Ready.of, Resistances.of, Text.of, Frames(greeting).output):
        with contextlib.suppress(MalformedError):
            reader(body)


packets = st.builds(
    Packet,
    st.sampled_from([*range(0x80, 0x8B), 0xF0, 0xF1, 0xF2, 0xFF, 1, 5]),
    st.integers(0, 12),
    st.sampled_from([0, 7, 0x5EED1234]),
    st.one_of(st.binary(max_size=60), st.just(struct.pack("<HI", 1, 1))),
)


@given(
    st.lists(
        st.tuples(
            st.integers(0, 12),
            st.one_of(
                st.binary(max_size=60),
                packets.map(lambda packet: encode(packet.payload())),
            ),
        ),
        max_size=8,
    ),
)
def test_a_session_among_foreign_frames_is_right_or_ends_with_one_line(foreign):
    """Frames that others wrote, whole ones with a right CRC among them, come before replies."""
    wire = Wire(ReferenceBoard(SEQUENCE))
    turns = iter(range(10_000))

    def read(timeout_s):
        turn = next(turns)
        come = b"".join(data for at, data in foreign if at == turn)
        return come + Wire.read(wire, timeout_s)

    wire.read = read
    link = Link(wire, nonce=0x5EED1234, clock=wire.clock)
    try:
        link.greet()
        link.ping(b"abc")
    except LinkError as error:
        ends_in_one_line(error)


@given(st.lists(st.tuples(st.integers(0, 40), tampering), max_size=8), st.integers(0, 99))
def test_a_flight_over_tampered_frames_is_the_reference_or_ends_with_one_line(when, seed):
    """Damage never passes the CRC: whatever is answered is right."""
    wire = Wire(ReferenceBoard(SEQUENCE))
    changes = dict(when)
    turns = iter(range(10_000))

    def read(timeout_s):
        return mutated(Wire.read(wire, timeout_s), changes.get(next(turns), ()))

    wire.read = read
    mine = ReferenceExecutor(SEQUENCE)
    try:
        target = LinkTarget(SEQUENCE, wire, clock=wire.clock)
        target.reset(Boot.COLD)
        for tick in range(12):
            values = [float((seed + 3 * tick) % 11), 1.0]
            found = target.exchange(tick, values, [True, True])
            assert repr(found) == repr(mine.tick(tick, values, [True, True]))
    except LinkError as error:
        ends_in_one_line(error)


def test_a_short_soak_of_the_decoder_that_goes_on_where_it_stopped(tmp_path):
    """`make soak` does this with ten million frames."""
    said = []
    assert soak(2000, 7, tmp_path, said.append) is None
    assert said == []
    assert soak(4000, 7, tmp_path, said.append) is None
    assert said == ["2000 of 4000 frames have been damaged; going on from there"]
    assert soak(20, 8, tmp_path, said.append) is None
    assert said[1:] == ["what has been done was of another version or seed; starting again"]


@pytest.mark.parametrize("looked_at", [0xFF, 0])
def test_a_soak_finds_a_decoder_that_looks_at_little_of_the_crc(looked_at, tmp_path, monkeypatch):
    def unpack(stuffed):
        with contextlib.suppress(cobs.DecodeError):
            content = cobs.decode(stuffed)
            crc = int.from_bytes(content[-4:], "little")
            return None if (zlib.crc32(content[:-4]) ^ crc) & looked_at else content[:-4]

    monkeypatch.setattr("hil.frames._unpack", unpack)
    found = soak(40_000, 7, tmp_path, print)
    assert found is not None
    assert found.startswith("seed 7, run ")
    assert found.endswith("a payload was accepted that nobody sent")


def test_a_soak_finds_a_decoder_that_stays_out_of_step(tmp_path, monkeypatch):
    monkeypatch.setattr(FrameDecoder, "_close", lambda _: None)
    assert soak(40, 7, tmp_path, print) == "seed 7, run 0: not in step again"
