"""The UART of the emulated core as its image sees it, with and without the emulator's own calls.

Registers and flags: ARM DDI 0183, PrimeCell UART (PL011), sections 3.3.1 and 3.3.3 [M].
"""

from __future__ import annotations

import subprocess
import sys

import pytest

from hil import core_uart
from hil.core_uart import UART, Uart

unicorn = pytest.importorskip("unicorn", reason="no emulator: pip install 'drycount[core]'")
arm = pytest.importorskip("unicorn.arm_const")

DATA, FLAGS = 0x00, 0x18
NOTHING_RECEIVED, CANNOT_SEND, RECEIVED_FULL, ALL_SENT = 0x10, 0x20, 0x40, 0x80


class Core:
    """A core whose instructions are one load or one store."""

    def __init__(self, uart):
        self.core = unicorn.Uc(unicorn.UC_ARCH_ARM, unicorn.UC_MODE_THUMB | unicorn.UC_MODE_MCLASS)
        self.core.mem_map(0, 0x1000)
        self.core.mem_write(0x100, b"\x08\x68\x08\x60")  # ldr r0, [r1]; str r0, [r1]
        uart.connect(self.core)

    def load(self, register):
        self.core.reg_write(arm.UC_ARM_REG_R1, UART[0] + register)
        self.core.emu_start(0x101, 0x102)
        return self.core.reg_read(arm.UC_ARM_REG_R0)

    def store(self, register, value):
        self.core.reg_write(arm.UC_ARM_REG_R1, UART[0] + register)
        self.core.reg_write(arm.UC_ARM_REG_R0, value)
        self.core.emu_start(0x103, 0x104)


@pytest.fixture(params=["compiled", "plain"])
def board(request, monkeypatch):
    """(host's end, core); plain: a Python face of the emulator that gives away no more."""
    if request.param == "plain":
        monkeypatch.setitem(sys.modules, "unicorn.unicorn_py3.unicorn", None)
    uart = Uart()
    return uart, Core(uart)


def test_bytes_come_in_order_and_flags_tell_of_them(board):
    uart, core = board
    assert core.load(FLAGS) == ALL_SENT | NOTHING_RECEIVED
    assert core.load(DATA) == 0
    uart.put(bytes(range(1, 18)))
    assert uart.fill()
    assert core.load(FLAGS) == ALL_SENT | RECEIVED_FULL
    assert [core.load(DATA) for _ in range(2)] == [1, 2]
    assert core.load(FLAGS) == ALL_SENT
    uart.put(b"\xff")
    assert uart.fill()
    assert [core.load(DATA) for _ in range(16)] == [*range(3, 18), 0xFF]
    assert core.load(FLAGS) == ALL_SENT | NOTHING_RECEIVED
    assert not uart.fill()


def test_what_is_sent_is_taken_once(board):
    uart, core = board
    for value in (0x41, 0x1FF, 0):
        core.store(DATA, value)
    core.store(FLAGS, 7)
    assert uart.has_sent
    assert uart.take() == b"\x41\xff\x00"
    assert not uart.has_sent
    assert uart.take() == b""


def test_other_registers_are_zero_and_without_effect(board):
    uart, core = board
    core.store(0x2C, 0x70)
    assert core.load(0x2C) == 0
    assert not uart.has_sent


def test_more_than_there_is_room_for(board):
    """Nothing the host puts is lost; a byte that the image sends too many is, as it was told."""
    uart, core = board
    sent = bytes(range(256)) * 300
    uart.put(sent)
    assert uart.fill()
    fetched = bytearray()
    while uart.fill():
        fetched += bytes(core.load(DATA) for _ in range(1024))
    assert bytes(fetched) == sent
    uart._memory[core_uart._SENT] = core_uart._ROOM - 1
    assert core.load(FLAGS) == ALL_SENT | NOTHING_RECEIVED
    core.store(DATA, 0x11)
    assert core.load(FLAGS) == CANNOT_SEND | NOTHING_RECEIVED
    core.store(DATA, 0x22)
    assert uart.take()[-1:] == b"\x11"
    assert core.load(FLAGS) == ALL_SENT | NOTHING_RECEIVED


def test_it_is_loaded_only_with_an_emulated_core():
    """Its registers are compiled, and loading that takes a third of a second."""
    code = "import sys, hil.targets; sys.exit('hil.core_uart' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0
