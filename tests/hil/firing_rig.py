"""The kit's link client on a board that a test holds in its hand: clock, key, loads, outputs."""

from __future__ import annotations

import ctypes
import os
import struct
from pathlib import Path

from building import need, once
from kit_rig import LINK, SOURCES, STRICT, run
from reference_board import CONFIGURE, HELLO, PERMIT, READY, REFUSED, RESET, TICK

from hil.export import export_c, tables_header, tables_source
from hil.frames import FrameDecoder, encode
from hil.layout_header import KIT
from hil.wiring import Wiring

_BOARD = Path(__file__).with_name("firing_board.c")
MASKED, STRUCK = 4, 8
BACK, ASK, TAKE = 0, 1, 2

#: two pulses of 50 ms; the second drives two channels
SEQUENCE = """\
[sequence]
name = "loads"
about = "for dummy loads"
rate_hz = 100
boot_s = 0
start = "ready"
[inputs]
a = { unit = "bool" }
b = { unit = "bool" }
[functions]
one = { kind = "parachute", pulse_s = 0.05, inhibits = [] }
two = { kind = "parachute", pulse_s = 0.05, inhibits = [] }
[states.ready]
phase = "ground"
[[states.ready.exits]]
to = "first"
when = "a"
[[states.ready.exits]]
to = "second"
when = "b"
[states.first]
phase = "ground"
on_entry = ["fire one"]
[[states.first.exits]]
to = "ready"
when = "not a"
[states.second]
phase = "ground"
on_entry = ["fire two"]
[[states.second.exits]]
to = "ready"
when = "not b"
"""
WIRING = Wiring("a5" * 32, ("X1", "X2", "X3"), (0b001, 0b110))


def build_rig(sequence, *flags):
    """The board as a library; flags of the compiler."""
    compiler = (
        *(need("cc"), *STRICT, "-Wno-missing-prototypes", "-O1", "-fPIC", "-shared"),
        *("-fsanitize=undefined", "-fno-sanitize-recover=undefined", *flags),
        *("-DDC_BENCH", "-DDC_NAMES", f"-DSEQUENCE={sequence.name}"),
    )
    tables = (tables_header(sequence, WIRING), tables_source(sequence, WIRING))

    def make(folder):
        export_c(sequence, folder, wiring=WIRING)
        source = folder / f"{sequence.name}_tables.c"
        around = (f"-I{KIT}", f"-I{KIT / 'bench'}", f"-I{folder}", "-o", folder / "rig.so")
        run([*compiler, *around, *SOURCES, *LINK, source, _BOARD])

    library = once([*compiler, _BOARD, *tables], make) / "rig.so"
    loaded = ctypes.CDLL(os.fspath(library))
    loaded.rig_set.argtypes = [ctypes.c_uint32, ctypes.c_uint8]
    loaded.rig_load.argtypes = [ctypes.c_uint8, ctypes.c_float]
    loaded.rig_take.argtypes = [ctypes.c_char_p, ctypes.c_size_t]
    loaded.rig_text.argtypes = [ctypes.c_uint8, ctypes.c_char_p]
    loaded.rig_sent.restype = ctypes.c_size_t
    loaded.rig_driven.restype = loaded.rig_drives.restype = ctypes.c_uint32
    loaded.rig_open.restype = loaded.rig_not_measured.restype = ctypes.c_float
    return loaded


class Rig:
    """The board, and a host that says what it is told to.

    Requests give the kind of the reply, or ("refused", reason); its body is in `body`.
    """

    def __init__(self, library, sequence, *, without=0, wiring=WIRING.digest):
        self._board = library
        self.wiring = bytes.fromhex(wiring)
        self.sequence = bytes.fromhex(sequence.digest)
        self._us, self._key, self._boots = 1_000_000, 1, 0
        self._nonce, self._number, self._tick = 0x5EED1233, 0, 0
        self.without = without
        self.body = b""
        self.set()
        for channel in range(3):
            self.load(channel, 22.0)
        self.boot()

    def boot(self):
        self._boots += 1
        self._board.rig_boot(self._boots, self.without)
        (ready,) = self.said()
        assert ready[0] == READY

    def set(self, *, key=None, later_ms=0):
        """The key; time goes on, and the board looks at its clock every 5 ms."""
        self._key = self._key if key is None else key
        for _ in range(later_ms // 5):
            self._us += 5000
            self._board.rig_set(self._us & 0xFFFFFFFF, self._key)
            self._board.rig_watch()
        self._board.rig_set(self._us & 0xFFFFFFFF, self._key)

    def skip(self, ms):
        """Time goes on while the board is busy with something else."""
        self._us += ms * 1000
        self.set()

    def load(self, channel, ohm):
        self._board.rig_load(channel, ohm)

    def pace(self, us):
        """How long the board takes from one look at its clock to the next."""
        self._board.rig_pace(us)

    @property
    def driven(self):
        return self._board.rig_driven()

    @property
    def drives(self):
        """How often outputs were written."""
        return self._board.rig_drives()

    def raw(self):
        buffer = ctypes.create_string_buffer(8192)
        count = self._board.rig_sent(buffer)
        return buffer.raw[:count]

    def said(self):
        """Payloads."""
        return FrameDecoder().feed(self.raw())

    def send(self, kind, body=b"", *, number=None, nonce=None):
        """A frame as it is told; what the board says to it, as it came over the line."""
        header = struct.pack(
            *("<BII", kind, self._number if number is None else number),
            self._nonce if nonce is None else nonce,
        )
        frame = encode(header + body)
        self._board.rig_take(frame, len(frame))
        return self.raw()

    def ask(self, kind, body=b"", **otherwise):
        self._number += 1
        (reply,) = FrameDecoder().feed(self.send(kind, body, **otherwise))
        self.body = reply[9:]
        return ("refused", reply[9]) if reply[0] == REFUSED else reply[0] & 0x7F

    def greet(self):
        """A session of its own."""
        self._nonce, self._number = self._nonce + 1, 0
        return self.ask(HELLO, struct.pack("<H", 1))

    @property
    def number(self):
        return self._number

    def configure(self, *, dead_man=500, wiring=None):
        given = self.wiring if wiring is None else wiring
        return self.ask(CONFIGURE, self.sequence + given + struct.pack("<HH", dead_man, 0))

    def reset(self):
        self._tick = 0
        return self.ask(RESET, b"\0")

    def begin(self, **otherwise):
        """All that a permit wants before it is asked for."""
        assert self.greet() == HELLO
        assert self.configure(**otherwise) == CONFIGURE
        assert self.reset() == RESET

    def permit(self, step, channels=7, ms=1000, challenge=0):
        found = self.ask(PERMIT, struct.pack("<BIHI", step, channels, ms, challenge))
        if found == PERMIT:
            step_, *held, answer = struct.unpack("<BIHI", self.body)
            assert step_ == step
            assert held == ([channels, ms] if step != BACK else [0, 0])
            return answer
        return found

    def hold(self, channels=7, ms=1000):
        """Ask and take; nothing is driven by that."""
        challenge = self.permit(ASK, channels, ms)
        assert isinstance(challenge, int), challenge
        assert challenge != 0
        assert self.permit(TAKE, channels, ms, challenge) == challenge
        assert self.driven == 0

    def tick(self, *, a=0, b=0):
        """Flags of the output frame."""
        values = struct.pack("<dd", a, b)
        found = self.ask(TICK, struct.pack("<II", self._tick, self._tick * 10_000) + b"\3" + values)
        self._tick += 1
        return self.body[8] if found == TICK else found

    def text(self, level, text):
        self._board.rig_text(level, text)
        (said,) = self.said()
        return said
