"""Frames under everything that a wire does to them."""

from __future__ import annotations

import zlib

import pytest
from cobs import cobs
from hypothesis import given
from hypothesis import strategies as st

from hil.frames import MAX_PAYLOAD, FrameDecoder, encode
from sequencer.errors import UsageError

payloads = st.lists(st.binary(max_size=300), max_size=6)


@given(payloads, st.lists(st.integers(1, 40), min_size=1, max_size=20))
def test_every_payload_arrives_whole_however_the_bytes_come(sent, sizes):
    wire = b"".join(map(encode, sent))
    decoder = FrameDecoder()
    received = []
    at = turn = 0
    while at < len(wire):
        size = sizes[turn % len(sizes)]
        received += decoder.feed(wire[at : at + size])
        at += size
        turn += 1
    assert received == sent
    assert (decoder.good, decoder.bad) == (len(sent), 0)


@given(st.binary(max_size=40), st.data())
def test_one_changed_bit_loses_that_frame_and_no_other(payload, data):
    frame = bytearray(encode(payload))
    bit = data.draw(st.integers(0, 8 * (len(frame) - 1) - 1))
    frame[bit // 8] ^= 1 << (bit % 8)
    decoder = FrameDecoder()
    assert decoder.feed(encode(b"before") + bytes(frame) + encode(b"after")) == [
        b"before",
        b"after",
    ]
    assert decoder.bad >= 1


@given(st.binary(max_size=60), st.integers(0, 0xFFFFFFFF))
def test_the_crc_behind_a_payload_is_that_of_zlib_and_no_other(payload, other):
    right = zlib.crc32(payload)
    for crc in {right, right ^ 1, other, 0, 0xFFFFFFFF}:
        frame = cobs.encode(payload + crc.to_bytes(4, "little")) + b"\x00"
        assert FrameDecoder().feed(frame) == ([payload] if crc == right else [])


@pytest.mark.parametrize("content", [b"", b"\x00", b"\x00\x00\x00", b"\xff\xff\xff"])
def test_what_is_too_short_for_a_crc_is_damaged(content):
    assert FrameDecoder().feed(cobs.encode(content) + b"\x00") == []


@given(st.binary(max_size=60))
def test_after_noise_a_zero_byte_brings_the_receiver_back_in_step(noise):
    decoder = FrameDecoder()
    assert decoder.feed(noise + b"\x00" + encode(b"go"))[-1] == b"go"


def test_joining_in_the_middle_of_a_frame():
    decoder = FrameDecoder()
    assert decoder.feed(encode(b"a long enough payload")[5:] + encode(b"next")) == [b"next"]
    assert decoder.bad == 1


def test_no_zero_byte_stands_inside_a_frame():
    assert encode(bytes(600)).index(b"\x00") == len(encode(bytes(600))) - 1


def test_idle_zero_bytes_are_neither_frames_nor_faults():
    decoder = FrameDecoder()
    assert decoder.feed(b"\x00\x00\x00") == []
    assert (decoder.good, decoder.bad) == (0, 0)


def test_a_line_that_never_ends_a_frame_costs_no_memory():
    decoder = FrameDecoder()
    for _ in range(100):
        assert decoder.feed(b"\x55" * MAX_PAYLOAD) == []
    assert len(decoder._kept) <= 2 * MAX_PAYLOAD
    assert decoder.feed(b"\x00" + encode(b"on")) == [b"on"]
    assert decoder.bad == 1


def test_the_longest_payload_passes_and_a_longer_one_is_refused():
    longest = b"\x01" * MAX_PAYLOAD
    assert FrameDecoder().feed(encode(longest)) == [longest]
    with pytest.raises(UsageError, match="at most 1024 bytes, not 1025"):
        encode(longest + b"\x01")
