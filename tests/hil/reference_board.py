"""A board in Python, written from docs/link.md: the reference executor behind the link.

Of the host's side it uses the framing only, so layouts are written down twice, and compared. Runs
as a program over its standard input and output: ``reference_board.py SEQUENCE [KEY=VALUE...]``.
"""

from __future__ import annotations

import os
import struct
import sys
import time

from hil.frames import FrameDecoder, encode
from sequencer.execute import ReferenceExecutor
from sequencer.sequence import load_sequence

HELLO, NAMES, CONFIGURE, RESET, TICK, CHANNELS, PERMIT, PING, SAFE_NOW = range(1, 10)
READY, TEXT, REFUSED = 0xF0, 0xF1, 0xFF
KINDS = (
    "entered",
    "took",
    "set",
    "cleared",
    "ended",
    "cut",
    "fired",
    "ignored",
    "blocked",
    "moved",
)


class RefusedError(Exception):
    """A request that is refused."""


class ReferenceBoard:
    """`receive` takes bytes and gives bytes; `time_us` is the board's clock, set from outside."""

    version = 1
    value = "d"
    max_payload = 1024
    boots = 1
    name = "reference"
    abilities = 1 | 4 | 8
    masked = True
    ohm = (1.5, float("inf"))
    channels = ("F1", "F2")

    def __init__(self, sequence, **otherwise):
        self.sequence = sequence
        self.digest = sequence.digest
        self.inputs = list(sequence.inputs)
        self.states = list(sequence.states)
        self.functions = list(sequence.functions)
        self.rate_hz = sequence.rate_hz
        self.wiring = bytes(32)
        for key, value in otherwise.items():
            assert hasattr(self, key), key
            setattr(self, key, value)
        functions = sequence.functions.values()
        self.pulses = [f.name for f in functions if f.kind != "servo"]
        self.servos = [f.name for f in functions if f.kind == "servo"]
        self.positions = {f.name: [name for name, _ in f.positions] for f in functions}
        self.flags, self.inhibits = list(sequence.flags), list(sequence.inhibits)
        self.exits = [way.name for way in sequence.common_exits]
        self.exits += [way.name for state in sequence.states.values() for way in state.exits]
        self.fields = len(sequence.publication.fields) if sequence.publication else 0
        self.logic = ReferenceExecutor(sequence)
        self.time_us = 0
        self.ticks_run = 0
        self.power_up()

    def power_up(self):
        self.decoder = FrameDecoder()
        self.nonce = self.number = 0
        self.reply = b""
        self.safe = self.configured = self.running = False
        self.struck = False
        self.heard_us, self.dead_man_us = 0, None

    def ready(self):
        return self.frame(READY, 0, 0, struct.pack("<HI", self.version, self.boots))

    def text(self, words):
        return self.frame(TEXT, 0, self.nonce, struct.pack("<BI", 1, self.time_us) + words.encode())

    def frame(self, kind, number, nonce, body):
        return encode(struct.pack("<BII", kind, number, nonce) + body)

    def receive(self, data):
        return b"".join(map(self.answer, self.decoder.feed(data)))

    def answer(self, payload):  # noqa: PLR0911 - the rows of the table on the page
        if len(payload) < 9 or payload[0] & 0x80:
            return b""
        kind, number, nonce = struct.unpack_from("<BII", payload)
        body = payload[9:]
        if kind == SAFE_NOW:
            self.go_safe()
            return self.frame(SAFE_NOW | 0x80, number, nonce, b"")
        if kind == HELLO:
            return self.greet(number, nonce, body)
        if self.nonce == 0:
            return self.frame(REFUSED, number, nonce, bytes([3, kind]))
        if nonce != self.nonce or number < self.number:
            return b""
        if number == self.number:
            return b"\x00" + self.reply
        if number > self.number + 1:
            return self.frame(REFUSED, number, nonce, bytes([5, kind]))
        self.number = number
        self.watch()
        try:
            self.reply = self.frame(kind | 0x80, number, nonce, self.act(kind, body))
        except RefusedError as no:
            self.reply = self.frame(REFUSED, number, nonce, bytes([no.args[0], kind]) + b"so it is")
        return self.reply

    def greet(self, number, nonce, body):
        if nonce == 0 or number != 1:
            return b""
        if nonce == self.nonce:
            return b"\x00" + self.reply if self.number == 1 else b""
        del body
        self.power_up()
        self.nonce, self.number = nonce, 1
        self.reply = self.frame(HELLO | 0x80, 1, nonce, self.greeting())
        return self.reply

    def greeting(self):
        counts = (len(self.inputs), len(self.states), len(self.pulses), len(self.servos))
        head = struct.pack(
            "<HHBBHHHHHHHI",
            *(self.version, self.max_payload, struct.calcsize(self.value), self.abilities),
            *(self.rate_hz, *counts, self.fields, 2, self.boots),
        )
        texts = b"".join(bytes([len(t)]) + t for t in (self.name.encode(), b"from the page"))
        return head + bytes.fromhex(self.digest) + self.wiring + texts

    def watch(self):
        """The dead-man: outputs are masked here anyway, so it shows as a flag only."""
        if self.dead_man_us is not None and self.time_us - self.heard_us > self.dead_man_us:
            self.struck = True
        self.heard_us = self.time_us

    def go_safe(self):
        self.safe, self.running = True, False

    def act(self, kind, body):
        if kind == NAMES:
            return self.page(*self.take("<BH", body))
        if kind == PING:
            return struct.pack("<I", self.time_us & 0xFFFFFFFF) + body
        if kind == CONFIGURE:
            return self.configure(*self.take("<32s32sHH", body))
        if kind not in range(1, 10):
            raise RefusedError(1)
        if not self.configured:
            raise RefusedError(8)
        if kind == RESET:
            return self.reset(*self.take("<B", body))
        if kind == TICK:
            return self.tick(body)
        if kind == CHANNELS:
            self.take("<", body)
            return struct.pack(f"<fB{len(self.ohm)}f", 0.001, len(self.ohm), *self.ohm)
        raise RefusedError(12)

    @staticmethod
    def take(layout, body):
        if struct.calcsize(layout) != len(body):
            raise RefusedError(2)
        return struct.unpack(layout, body)

    def page(self, which, first):
        names = (self.inputs, self.states, self.functions, self.channels)
        if which > 3 or first > len(names[which]):
            raise RefusedError(2)
        packed, count = b"", 0
        for name in names[which][first:]:
            more = bytes([len(name.encode())]) + name.encode()
            if 9 + 6 + len(packed) + len(more) > self.max_payload or count == 255:
                break
            packed, count = packed + more, count + 1
        return struct.pack("<BHHB", which, first, len(names[which]), count) + packed

    def configure(self, sequence, wiring, dead_man_ms, reserved):
        if not 100 <= dead_man_ms <= 10_000 or reserved:
            raise RefusedError(2)
        if sequence.hex() != self.digest:
            raise RefusedError(6)
        if any(wiring) and any(self.wiring) and wiring != self.wiring:
            raise RefusedError(7)
        self.configured, self.running = True, False
        self.dead_man_us, self.heard_us = dead_man_ms * 1000, self.time_us
        return b""

    def reset(self, mode):
        if mode > 1:
            raise RefusedError(2)
        if mode and not self.abilities & 1:
            raise RefusedError(13)
        self.logic.boot(self.logic.flags() if mode else None)
        self.safe, self.running, self.struck = False, True, False
        self.last = -1
        return b""

    def tick(self, body):
        if self.safe:
            raise RefusedError(11)
        if not self.running:
            raise RefusedError(9)
        width = (len(self.inputs) + 7) // 8
        if len(body) < 8 + width:
            raise RefusedError(2)
        tick, time_us = struct.unpack_from("<II", body)
        assert time_us == tick * 1_000_000 // self.rate_hz % 2**32
        bits = int.from_bytes(body[8 : 8 + width], "little")
        fresh = [bool(bits >> i & 1) for i in range(len(self.inputs))]
        sent = self.take(f"<{sum(fresh)}{self.value}", body[8 + width :])
        if bits >> len(self.inputs):
            raise RefusedError(2)
        if tick <= self.last:
            raise RefusedError(10)
        self.last = tick
        come = iter(sent)
        values = [next(come) if new else float("nan") for new in fresh]
        return self.output(tick, self.logic.tick(tick, values, fresh))

    def output(self, tick, out):
        self.ticks_run += 1
        flags = (1 if out.message is not None else 0) | 4 * self.masked | 8 * self.struck
        on = sum(1 << i for i, one in enumerate(out.on) if one)
        state = self.states.index(out.state)
        body = struct.pack("<IIBHB", tick, self.time_us & 0xFFFFFFFF, flags, state, len(out.events))
        body += on.to_bytes((len(out.on) + 7) // 8, "little")
        numbers = (*out.demands, *(out.message or ()))
        body += struct.pack(f"<{len(numbers)}{self.value}", *numbers)
        return body + b"".join(struct.pack("<BHH", *self.event(*each)) for each in out.events)

    def event(self, word, name, detail):
        kind = KINDS.index(word)
        if name in self.servos:
            subjects = self.servos
            kind = 10 if word == "blocked" else kind
        else:
            subjects = (self.states, self.exits, self.flags, self.flags, *[self.pulses] * 5)[kind]
        if word == "moved":
            details = self.positions[name]
        else:
            details = self.inhibits if word in {"cut", "blocked"} else []
        index = details.index(detail) if detail in details else 0xFFFF
        return kind, subjects.index(name), index


def serve(board, reads, writes):
    """Until the other end closes."""
    os.write(writes, board.ready())
    start = time.monotonic()
    while True:
        try:
            data = os.read(reads, 65536)
        except OSError:
            return
        if not data:
            return
        board.time_us = int((time.monotonic() - start) * 1e6)
        answer = board.receive(data)
        if answer:
            os.write(writes, answer)


def main(path, *otherwise):
    said = dict(each.split("=", 1) for each in otherwise)
    numbers = {key: int(value) if value.isdigit() else value for key, value in said.items()}
    serve(ReferenceBoard(load_sequence(path), **numbers), 0, 1)


if __name__ == "__main__":
    main(*sys.argv[1:])
