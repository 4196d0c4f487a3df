"""Framing against published values: what a board's firmware will be written against."""

from __future__ import annotations

import zlib

import pytest
from cobs import cobs

from hil.frames import FrameDecoder, encode

FF = bytes(range(1, 0xFF))  # 01..FE, 254 bytes without a zero

COBS = [
    ("", "01"),
    ("00", "01 01"),
    ("00 00", "01 01 01"),
    ("00 11 00", "01 02 11 01"),
    ("11 22 00 33", "03 11 22 02 33"),
    ("11 22 33 44", "05 11 22 33 44"),
    ("11 00 00 00", "02 11 01 01 01"),
    (FF.hex(), "FF" + FF.hex()),
    ("00" + FF.hex(), "01 FF" + FF.hex()),
    (FF.hex() + "FF", "FF" + FF.hex() + "02 FF"),
    (FF[1:].hex() + "FF 00", "FF" + FF[1:].hex() + "FF 01 01"),
    (FF[2:].hex() + "FF 00 01", "FE" + FF[2:].hex() + "FF 02 01"),
    ("45 00 00 2C 4C 79 00 00 40 06 4F 37", "02 45 01 04 2C 4C 79 01 05 40 06 4F 37"),
]


def with_crc(data: bytes) -> bytes:
    return data + zlib.crc32(data).to_bytes(4, "little")


@pytest.mark.parametrize(("plain", "stuffed"), COBS)
def test_stuffing_of_known_texts(plain, stuffed):
    """Cheshire and Baker 1999, figures, and the usual table of examples [L: cobs 1.2.2].

    The stuffing under our frames is the library's; this pins what firmware has to produce.
    """
    assert cobs.encode(bytes.fromhex(plain)) == bytes.fromhex(stuffed)
    assert cobs.decode(bytes.fromhex(stuffed)) == bytes.fromhex(plain)


@pytest.mark.parametrize(
    ("size", "stuffed"),
    [(0, 1), (1, 2), (253, 254), (254, 255), (255, 257), (508, 510), (509, 512), (1000, 1004)],
)
def test_overhead_is_at_most_one_byte_in_254(size, stuffed):
    """Cheshire and Baker 1999, abstract [T]; lengths [L: cobs 1.2.2]."""
    assert len(cobs.encode(b"\x01" * size)) == stuffed
    # ours carries four bytes of CRC and the zero at the end on top
    assert len(encode(b"\x01" * size)) <= size + 4 + (size + 4) // 254 + 1 + 1


@pytest.mark.parametrize("damaged", ["05 11", "01 00", "00"])
def test_what_cannot_be_unstuffed_is_no_payload(damaged):
    """Decode errors: too few bytes, a zero inside [L: cobs 1.2.2]."""
    decoder = FrameDecoder()
    assert decoder.feed(bytes.fromhex(damaged) + b"\x00") == []
    assert decoder.good == 0


def test_crc_of_the_check_text():
    """CRC-32/ISO-HDLC of "123456789" is CBF43926 [L: crcmod, crccheck and zlib agree].

    On the wire its bytes go little end first: 26 39 F4 CB; over text and CRC together zlib then
    gives the constant 2144DF1C.
    """
    text = b"123456789"
    assert zlib.crc32(text) == 0xCBF43926
    assert cobs.decode(encode(text)[:-1]) == text + bytes.fromhex("26 39 F4 CB")
    assert zlib.crc32(with_crc(text)) == 0x2144DF1C


def test_crc_of_nothing():
    """CRC-32/ISO-HDLC of no bytes is 0 [L: zlib]: an empty payload is four zero bytes."""
    assert encode(b"") == bytes.fromhex("01 01 01 01 01 00")
    assert FrameDecoder().feed(encode(b"")) == [b""]


def test_a_closing_block_that_an_encoder_may_add_is_accepted():
    """After an exact block of 254 an encoder may add 01; decoders take both (common practice)."""
    content = with_crc(b"x" * 250)
    assert 0 not in content, "choose a payload whose CRC has no zero byte"
    usual = cobs.encode(content)
    assert len(usual) == 255
    assert FrameDecoder().feed(usual + b"\x01\x00") == [b"x" * 250]
