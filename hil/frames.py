"""Frames on a wire: payload and CRC, byte stuffed, ended by a zero byte.

    frame = COBS(payload + CRC-32 of payload, little end first) + 00

COBS: Cheshire and Baker, "Consistent Overhead Byte Stuffing", IEEE/ACM Transactions on Networking
7(2), April 1999. CRC-32/ISO-HDLC is what zlib computes. A zero byte occurs nowhere but at the end
of a frame, so a receiver that lost its place is back in step after the next one.
"""

from __future__ import annotations

import struct
import zlib

from cobs import cobs

from sequencer.errors import UsageError

__all__ = ["MAX_PAYLOAD", "FrameDecoder", "encode"]

#: longest payload, bytes; a board must be able to hold a frame
MAX_PAYLOAD = 1024

_CRC = struct.Struct("<I")
#: CRC-32 of anything with its own CRC behind it, little end first: holds for no other CRC
_RESIDUE = 0x2144DF1C
#: longest stuffed frame without its end: one byte in 254 more, rounded up, and the first
_MAX_STUFFED = MAX_PAYLOAD + _CRC.size + (MAX_PAYLOAD + _CRC.size) // 254 + 1


def encode(payload: bytes) -> bytes:
    """One frame, zero byte at its end included.

    Raises UsageError for a payload of more than MAX_PAYLOAD bytes.
    """
    if len(payload) > MAX_PAYLOAD:
        raise UsageError(f"a frame holds at most {MAX_PAYLOAD} bytes, not {len(payload)}")
    stuffed: bytes = cobs.encode(payload + _CRC.pack(zlib.crc32(payload)))
    return stuffed + b"\x00"


class FrameDecoder:
    """Takes bytes as they come and gives payloads as they are complete.

    A frame that is damaged in any way is counted in `bad` and dropped as a whole; the next zero
    byte starts afresh. Zero bytes between frames are no frames and no faults, so a sender may put
    one in front of a frame to end whatever a line has made up before. Memory is bounded: of a
    frame that does not end nothing is kept.
    """

    def __init__(self) -> None:
        self.good = 0
        self.bad = 0
        self._kept = bytearray()
        self._overlong = False

    def feed(self, received: bytes) -> list[bytes]:
        """Payloads that are complete with these bytes, in order; often none."""
        if not self._kept and not self._overlong and received.find(0) == len(received) - 1 > 0:
            # the usual case: one frame, whole
            payload = _unpack(received[:-1])
            if payload is not None:
                self.good += 1
                return [payload]
            self.bad += 1
            return []
        payloads = []
        *ended, rest = received.split(b"\x00")
        for piece in ended:
            self._keep(piece)
            payload = self._close()
            if payload is not None:
                payloads.append(payload)
        self._keep(rest)
        return payloads

    def _keep(self, piece: bytes) -> None:
        if self._overlong or len(self._kept) + len(piece) > _MAX_STUFFED + 1:
            self._overlong = True
            self._kept.clear()
        else:
            self._kept += piece

    def _close(self) -> bytes | None:
        """The payload of the frame that has just ended, or None."""
        stuffed, overlong = bytes(self._kept), self._overlong
        self._kept.clear()
        self._overlong = False
        if not stuffed and not overlong:
            return None
        payload = None if overlong else _unpack(stuffed)
        if payload is None:
            self.bad += 1
        else:
            self.good += 1
        return payload


def _unpack(stuffed: bytes) -> bytes | None:
    try:
        content: bytes = cobs.decode(stuffed)
    except cobs.DecodeError:
        return None
    if zlib.crc32(content) != _RESIDUE or len(content) > MAX_PAYLOAD + _CRC.size:
        return None
    return content[: -_CRC.size]
