"""Frames on a wire against published codes and check values."""

from __future__ import annotations

import zlib

import pytest
from cobs import cobs

from hil.frames import FrameDecoder, encode
from hil.measuring import bytes_per_second

RUN = bytes(range(1, 255))
# data: encoded, without the zero byte that ends a frame
STUFFED = [
    (b"", "01"),
    (b"\x00", "01 01"),
    (b"\x00\x00", "01 01 01"),
    (b"\x00\x11\x00", "01 02 11 01"),
    (b"\x11\x22\x00\x33", "03 11 22 02 33"),
    (b"\x11\x22\x33\x44", "05 11 22 33 44"),
    (b"\x11\x00\x00\x00", "02 11 01 01 01"),
    (RUN, "FF" + RUN.hex()),
    (b"\x00" + RUN, "01 FF" + RUN.hex()),
    (RUN + b"\xff", "FF" + RUN.hex() + "02 FF"),
    (RUN[1:] + b"\xff\x00", "FF" + RUN[1:].hex() + "FF 01 01"),
    (RUN[2:] + b"\xff\x00\x01", "FE" + RUN[2:].hex() + "FF 02 01"),
    (
        bytes.fromhex("45 00 00 2C 4C 79 00 00 40 06 4F 37"),
        "02 45 01 04 2C 4C 79 01 05 40 06 4F 37",
    ),
]


def content_of(frame):
    """What stands in a frame, CRC included, as the page unstuffs it: independent of any library."""
    stuffed, content, at = frame.removesuffix(b"\x00"), b"", 0
    while at < len(stuffed):
        code = stuffed[at]
        assert 1 <= code <= len(stuffed) - at
        content += stuffed[at + 1 : at + code]
        at += code
        if code < 255 and at < len(stuffed):
            content += b"\x00"
    return content


@pytest.mark.parametrize(("data", "stuffed"), STUFFED, ids=range(len(STUFFED)))
def test_cobs(data, stuffed):
    """Cheshire and Baker, IEEE/ACM Transactions on Networking 7(2), 1999 [M]; encodings [L]."""
    encoded = bytes.fromhex(stuffed)
    assert cobs.encode(data) == encoded
    assert cobs.decode(encoded) == data
    assert content_of(encoded) == data


@pytest.mark.parametrize(
    ("length", "stuffed"),
    [(0, 1), (1, 2), (253, 254), (254, 255), (255, 257), (508, 510), (509, 512), (1000, 1004)],
)
def test_overhead_of_cobs(length, stuffed):
    """At most one byte in 254, rounded up, and one: Cheshire and Baker, 1999 [T]; lengths [L]."""
    assert len(cobs.encode(b"\x55" * length)) == stuffed
    frame = encode(b"\x55" * length)
    content = length + 4
    assert len(frame) - 1 <= content + content // 254 + 1


@pytest.mark.parametrize("damaged", ["05 11", "01 00", "00"])
def test_what_is_not_cobs(damaged):
    """Cut and zero-ridden encodings [L]: the decoder counts them and goes on."""
    with pytest.raises(cobs.DecodeError):
        cobs.decode(bytes.fromhex(damaged))
    decoder = FrameDecoder()
    assert decoder.feed(bytes.fromhex(damaged) + b"\x00" + encode(b"on")) == [b"on"]


@pytest.mark.parametrize("length", [254 - 4, 508 - 4])
def test_an_encoder_may_end_a_full_run_with_another_group(length):
    """Both encodings of data that ends with a run of 254 are decoded [L]."""
    for number in range(256):
        payload = number.to_bytes(1, "little").replace(b"\x00", b"\x01") * length
        content = payload + zlib.crc32(payload).to_bytes(4, "little")
        if b"\x00" in content:
            continue
        frame = encode(payload)
        longer = frame[:-1] + b"\x01\x00"
        assert FrameDecoder().feed(frame + longer) == [payload, payload]
        return
    pytest.fail("no payload of that length had a CRC without a zero byte")


def test_crc_32():
    """CRC-32/ISO-HDLC: check value CBF43926, residue DEBB20E3 [L: crcmod, crccheck, stdlib]."""
    content = content_of(encode(b"123456789"))
    assert content == b"123456789" + bytes.fromhex("26 39 F4 CB")
    assert zlib.crc32(content) == 0x2144DF1C  # the residue DEBB20E3, inverted
    assert 0x2144DF1C ^ 0xFFFFFFFF == 0xDEBB20E3
    assert content_of(encode(b"")) == bytes(4)


@pytest.mark.parametrize(
    ("baud", "rate", "us_per_byte"),
    [(9600, 960.0, 1041.6667), (115200, 11520.0, 86.8056), (921600, 92160.0, 10.8507)],
)
def test_a_byte_takes_ten_bits_on_an_8n1_line(baud, rate, us_per_byte):
    """A start bit, eight of data, a stop bit [C]; 64 bytes at 115200 baud take 5.5556 ms."""
    assert bytes_per_second(baud) == rate
    assert 1e6 / bytes_per_second(baud) == pytest.approx(us_per_byte, abs=5e-5)
    assert 64e3 / bytes_per_second(115200) == pytest.approx(5.5556, abs=5e-5)
