"""What stands inside frames, byte by byte: the layouts of docs/link.md, in one place.

Little-endian, packed, nothing aligned. Every payload begins with the header

    kind u8, number u32, nonce u32

and its body follows. A body of the wrong length, or with a count that cannot be, is a
`MalformedError`.
"""

from __future__ import annotations

import math
import struct
from collections.abc import Sequence
from dataclasses import dataclass
from enum import IntEnum, IntFlag
from itertools import compress
from typing import Final, NamedTuple

__all__ = [
    "HEADER_BYTES",
    "LEAST_PAYLOAD",
    "NOT_TOLD",
    "NO_DETAIL",
    "REPLY",
    "VERSION",
    "Ability",
    "Board",
    "Frames",
    "Kind",
    "MalformedError",
    "NameList",
    "Names",
    "Output",
    "OutputFlag",
    "Packet",
    "Ready",
    "Refusal",
    "Reset",
    "Resistances",
    "Text",
    "ask_names",
    "configure",
    "header",
    "hello",
    "permit",
]

#: of the protocol
VERSION: Final = 1
#: a reply has the kind of its request and this bit
REPLY: Final = 0x80
#: every board can send and take this many bytes of payload
LEAST_PAYLOAD: Final = 128
#: a hash that is not known
NOT_TOLD: Final = bytes(32)
#: an event that has no detail
NO_DETAIL: Final = 0xFFFF

_HEADER = struct.Struct("<BII")
HEADER_BYTES: Final = _HEADER.size
_BOARD = struct.Struct("<HHBBHHHHHHHI32s32s")
_CONFIGURE = struct.Struct("<32s32sHH")
_PERMIT = struct.Struct("<BIHI")
_OUTPUT = struct.Struct("<IIBHB")
_FLAGS_AT, _COUNT_AT = 8, 11
_EVENT = struct.Struct("<BHH")
#: layouts of frames that are kept; a flight needs a few dozen
_KEPT_LAYOUTS = 1024


class MalformedError(ValueError):
    """A body that does not fit its kind; the text says why."""


class Kind(IntEnum):
    """Requests, and what a board says of its own accord."""

    HELLO = 0x01
    NAMES = 0x02
    CONFIGURE = 0x03
    RESET = 0x04
    TICK = 0x05
    CHANNELS = 0x06
    PERMIT = 0x07
    PING = 0x08
    SAFE_NOW = 0x09
    READY = 0xF0
    TEXT = 0xF1
    REFUSED = 0xFF


class NameList(IntEnum):
    """Lists that a board can be asked for."""

    INPUTS = 0
    STATES = 1
    FUNCTIONS = 2
    CHANNELS = 3


class Reset(IntEnum):
    """Modes of RESET."""

    COLD = 0
    WARM = 1


class Ability(IntFlag):
    """What a board says it can do."""

    WARM_RESET = 1
    CAN_FIRE = 2
    HAS_CLOCK = 4
    MEASURES = 8


class OutputFlag(IntEnum):
    """Remarks in an output frame."""

    MESSAGE = 1
    EVENTS_LOST = 2
    MASKED = 4
    DEAD_MAN = 8


_MESSAGE: Final = int(OutputFlag.MESSAGE)


class Refusal(IntEnum):
    """Why a board did not do what it was asked."""

    UNKNOWN_KIND = 1
    BAD_BODY = 2
    NO_SESSION = 3
    OTHER_VERSION = 4
    OUT_OF_STEP = 5
    OTHER_SEQUENCE = 6
    OTHER_WIRING = 7
    NOT_CONFIGURED = 8
    NOT_RESET = 9
    OLD_TICK = 10
    SAFED = 11
    NO_PERMIT = 12
    CANNOT = 13
    FAILED = 14


def header(kind: int, number: int, nonce: int) -> bytes:
    """The first bytes of every payload."""
    return _HEADER.pack(kind, number, nonce)


class Packet(NamedTuple):
    """One payload."""

    kind: int
    number: int
    nonce: int
    body: bytes

    def payload(self) -> bytes:
        """The bytes of it."""
        return header(self.kind, self.number, self.nonce) + self.body

    @staticmethod
    def of(payload: bytes) -> Packet:
        """Raises MalformedError for a payload that is too short for the header."""
        if len(payload) < HEADER_BYTES:
            raise MalformedError("shorter than its header")
        kind, number, nonce = _HEADER.unpack_from(payload)
        return Packet(kind, number, nonce, payload[HEADER_BYTES:])


@dataclass(frozen=True, slots=True)
class Board:
    """What a board says of itself when it is greeted.

    max_payload   bytes that it can send and take
    value_bytes   4 or 8: width of its numbers
    inputs, states, pulses, servos, fields, channels   how many of them it has
    boots         how often it has booted, as far as it knows
    sequence, wiring   SHA-256; NOT_TOLD where it does not know
    """

    version: int
    max_payload: int
    value_bytes: int
    abilities: Ability
    rate_hz: int
    inputs: int
    states: int
    pulses: int
    servos: int
    fields: int
    channels: int
    boots: int
    sequence: bytes
    wiring: bytes
    name: str
    build: str

    @staticmethod
    def of(body: bytes) -> Board:
        """Read the body of a reply to HELLO; the version comes first in every version."""
        version = version_of(body)
        if version != VERSION:
            none = (0, 0, Ability(0), 0, 0, 0, 0, 0, 0, 0, 0)
            return Board(version, *none, NOT_TOLD, NOT_TOLD, "", "")
        if len(body) < _BOARD.size:
            raise MalformedError("greeting is too short")
        numbers = _BOARD.unpack_from(body)
        name, at = _text(body, _BOARD.size)
        build, at = _text(body, at)
        _ends(body, at)
        _, longest, width, abilities, *counts, boots, sequence, wiring = numbers
        rate_hz, inputs, states, pulses, servos, fields, channels = counts
        board = Board(
            *(version, longest, width, Ability(abilities), rate_hz),
            *(inputs, states, pulses, servos, fields, channels),
            *(boots, sequence, wiring, name, build),
        )
        if board.value_bytes not in {4, 8}:
            raise MalformedError(f"numbers of {board.value_bytes} bytes")
        if board.max_payload < LEAST_PAYLOAD:
            raise MalformedError(f"holds only {board.max_payload} bytes of payload")
        return board


@dataclass(frozen=True, slots=True)
class Names:
    """A page of a list: `names` begin at index `first` of `total`."""

    of_list: int
    first: int
    total: int
    names: tuple[str, ...]

    @staticmethod
    def of(body: bytes) -> Names:
        """Read the body of a reply to NAMES."""
        if len(body) < 6:
            raise MalformedError("page of names is too short")
        of_list, first, total, count = struct.unpack_from("<BHHB", body)
        at, names = 6, []
        for _ in range(count):
            name, at = _text(body, at)
            names.append(name)
        _ends(body, at)
        return Names(of_list, first, total, tuple(names))


class Output(NamedTuple):
    """What one tick came to, in indices.

    flags    bits of OutputFlag
    events   (kind, subject, detail)
    """

    tick: int
    board_us: int
    flags: int
    state: int
    on: tuple[bool, ...]
    demands: tuple[float, ...]
    message: tuple[float, ...] | None
    events: tuple[tuple[int, int, int], ...]


class Frames:
    """Sensor frames and output frames of one board, whose layout hangs on its counts."""

    def __init__(self, board: Board) -> None:
        self._letter = letter = "d" if board.value_bytes == 8 else "f"
        self._bits = (board.inputs + 7) // 8
        self._pulses = board.pulses
        on_bytes = (board.pulses + 7) // 8
        #: what is fresh -> the sensor frame's bits and layout; what is on -> as bits and as flags
        self._sent: dict[tuple[bool, ...], tuple[bytes, struct.Struct]] = {}
        self._on: dict[bytes, tuple[bool, ...]] = {}
        # without a message, and with one
        plain = f"{_OUTPUT.format}{on_bytes}s{board.servos}{letter}"
        self._outputs = (struct.Struct(plain), struct.Struct(f"{plain}{board.fields}{letter}"))
        self._fields_at = 6 + board.servos
        #: bytes of the longest sensor frame, and of an output frame with a message and no event
        self.longest_tick = HEADER_BYTES + 8 + self._bits + board.inputs * board.value_bytes
        self.plain_output = HEADER_BYTES + self._outputs[1].size

    def tick(
        self, tick: int, rate_hz: int, values: Sequence[float], fresh: Sequence[bool]
    ) -> bytes:
        """Body of a sensor frame: only what is fresh is sent."""
        key = tuple(fresh)
        found = self._sent.get(key)
        if found is None:
            found = self._layout(key)
        bits, layout = found
        time_us = tick * 1_000_000 // rate_hz & 0xFFFFFFFF
        try:
            return layout.pack(tick, time_us, bits, *compress(values, key))
        except OverflowError:
            return layout.pack(tick, time_us, bits, *map(_narrow, compress(values, key)))

    def _layout(self, fresh: tuple[bool, ...]) -> tuple[bytes, struct.Struct]:
        if len(self._sent) >= _KEPT_LAYOUTS:
            self._sent.clear()
        bits = sum(1 << at for at, new in enumerate(fresh) if new)
        layout = struct.Struct(f"<II{self._bits}s{sum(map(bool, fresh))}{self._letter}")
        self._sent[fresh] = found = bits.to_bytes(self._bits, "little"), layout
        return found

    def output(self, body: bytes) -> Output:
        """Read the body of an output frame."""
        if len(body) < _OUTPUT.size:
            raise MalformedError("output frame is too short")
        has_message, count = body[_FLAGS_AT] & _MESSAGE, body[_COUNT_AT]
        layout = self._outputs[has_message]
        if len(body) != layout.size + count * _EVENT.size:
            needed = layout.size + count * _EVENT.size
            raise MalformedError(f"output frame has {len(body)} bytes instead of {needed}")
        numbers = layout.unpack_from(body)
        on = self._on.get(numbers[5])
        if on is None:
            on = self._read_on(numbers[5])
        return Output(
            numbers[0],
            numbers[1],
            numbers[2],
            numbers[3],
            on,
            numbers[6 : self._fields_at],
            numbers[self._fields_at :] if has_message else None,
            tuple(_EVENT.iter_unpack(body[layout.size :])) if count else (),
        )

    def _read_on(self, packed: bytes) -> tuple[bool, ...]:
        bits = int.from_bytes(packed, "little")
        if bits >> self._pulses:
            raise MalformedError("a function is on that does not exist")
        if len(self._on) >= _KEPT_LAYOUTS:
            self._on.clear()
        self._on[packed] = on = tuple([bool(bits >> i & 1) for i in range(self._pulses)])
        return on


@dataclass(frozen=True, slots=True)
class Resistances:
    """What a board measures on its channels, ohm: inf for an open one, NaN for not measured."""

    test_current_a: float
    ohm: tuple[float, ...]

    @staticmethod
    def of(body: bytes) -> Resistances:
        """Read the body of a reply to CHANNELS."""
        if len(body) < 5 or len(body) != 5 + 4 * body[4]:
            raise MalformedError("resistances do not fill their frame")
        (current,) = struct.unpack_from("<f", body)
        if not 0.0 <= current < math.inf:
            raise MalformedError("a test current that is none")
        ohm = struct.unpack_from(f"<{body[4]}f", body, 5)
        if any(each < 0.0 for each in ohm):
            raise MalformedError("a resistance below 0")
        return Resistances(current, ohm)


@dataclass(frozen=True, slots=True)
class Ready:
    """A board has booted."""

    version: int
    boots: int

    @staticmethod
    def of(body: bytes) -> Ready:
        """Read the body of READY; the version comes first in every version."""
        version = version_of(body)
        if version != VERSION:
            return Ready(version, 0)
        if len(body) != 6:
            raise MalformedError("READY of the wrong length")
        return Ready(version, struct.unpack_from("<I", body, 2)[0])


@dataclass(frozen=True, slots=True)
class Text:
    """A line for people. level: 0 trace, 1 note, 2 warning, 3 error."""

    level: int
    board_us: int
    text: str

    @staticmethod
    def of(body: bytes) -> Text:
        """Read the body of TEXT; bytes that are no UTF-8 become question marks."""
        if len(body) < 5:
            raise MalformedError("TEXT is too short")
        level, board_us = struct.unpack_from("<BI", body)
        return Text(level, board_us, body[5:].decode("utf-8", "replace"))


def refusal(body: bytes) -> tuple[int, int, str]:
    """Why, of which kind of request, and what the board adds in words."""
    if len(body) < 2:
        raise MalformedError("REFUSED is too short")
    return body[0], body[1], body[2:].decode("utf-8", "replace")


def hello() -> bytes:
    """Body of a greeting."""
    return struct.pack("<H", VERSION)


def version_of(body: bytes) -> int:
    """The version that stands first in READY and in the reply to HELLO, in every version."""
    if len(body) < 2:
        raise MalformedError("tells no version")
    return int.from_bytes(body[:2], "little")


def ask_names(of_list: NameList, first: int) -> bytes:
    """Body of NAMES."""
    return struct.pack("<BH", of_list, first)


def configure(sequence: bytes, wiring: bytes, dead_man_ms: int) -> bytes:
    """Body of CONFIGURE; hashes are SHA-256, NOT_TOLD for a wiring that is not known."""
    return _CONFIGURE.pack(sequence, wiring, dead_man_ms, 0)


def permit(step: int, channels: int, milliseconds: int, challenge: int) -> bytes:
    """Body of PERMIT and of its reply; see docs/link.md before anything else."""
    return _PERMIT.pack(step, channels, milliseconds, challenge)


def _text(body: bytes, at: int) -> tuple[str, int]:
    """A text with its length in front, and where it ends."""
    if at >= len(body) or at + 1 + body[at] > len(body):
        raise MalformedError("a text is cut off")
    end = at + 1 + body[at]
    try:
        return body[at + 1 : end].decode("utf-8"), end
    except UnicodeDecodeError:
        raise MalformedError("a text is not UTF-8") from None


def _ends(body: bytes, at: int) -> None:
    if at != len(body):
        raise MalformedError("more bytes than its layout has")


def _narrow(value: float) -> float:
    """What single precision makes of a number beyond its range."""
    try:
        return float(struct.unpack("<f", struct.pack("<f", value))[0])
    except OverflowError:
        return float("inf") if value > 0 else float("-inf")
