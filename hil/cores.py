"""Cortex-M machine code executed in this process: the image of a board, its memory and its UART.

The emulator is unicorn (PyPI), an extra. It executes instructions and nothing else: what the image
sees of a board is what stands here and in `core_uart.py`, a part of the LM3S6965
(`hil/kit/bench/lm3s`), with the core of a Cortex-M4 and its floating-point unit. No interrupt ever
comes: the board's own clock stands still. An image that waits with WFI hands back to the host.
"""

from __future__ import annotations

import hashlib
import math
import struct
import threading
import time
from dataclasses import dataclass
from pathlib import Path
from types import ModuleType
from typing import Any, Final, TypeAlias

from hil.core_uart import Uart
from hil.streams import GoneError
from sequencer.errors import UsageError

__all__ = ["CoreStream", "Image", "load_image"]

FLASH: Final = (0x00000000, 256 * 1024)
RAM: Final = (0x20000000, 64 * 1024)
#: system timer, interrupts: written to, and without effect
_SYSTEM: Final = (0xE000E000, 0x1000)

#: what the emulator asks about a page of memory
Page: TypeAlias = Any

_HEADER: Final = struct.Struct("<4sBB10xHHIIII")
_MACHINE_ARM: Final = 40
_EXECUTABLE: Final = 2
_LOADED: Final = 1
_LARGEST: Final = 16 * 1024 * 1024
#: where it would end if it got there: in its vectors
_FOREVER: Final = 0
#: how often a look is taken at a core that runs on, s
_WATCH_S: Final = 0.05
#: the instruction WFI
_WAIT: Final = b"\x30\xbf"


@dataclass(frozen=True, slots=True)
class Image:
    """What is in flash, and where it begins.

    digest     SHA-256 of the file
    segments   (address, bytes)
    stack, start   the first two words of the vector table
    """

    name: str
    digest: str
    segments: tuple[tuple[int, bytes], ...]
    stack: int
    start: int


def load_image(path: Path) -> Image:
    """Read an ELF file (TIS ELF specification 1.2) for a Cortex-M.

    Raises UsageError with one line if it is missing, is none, or does not fit the board.
    """
    try:
        if path.stat().st_size > _LARGEST:
            raise UsageError(f"{path}: too large for an image")
        data = path.read_bytes()
    except OSError as error:
        why = "no such file" if isinstance(error, FileNotFoundError) else error.strerror
        raise UsageError(f"{path}: {str(why).lower()}") from error
    if data[:4] != b"\x7fELF":
        raise UsageError(f"{path}: is no ELF file")
    try:
        segments = tuple(_segments(path, data))
    except struct.error as error:
        raise UsageError(f"{path}: ends too early for an ELF file") from error
    vectors = next((held for at, held in segments if at == FLASH[0]), b"")
    if len(vectors) < 8:
        raise UsageError(f"{path}: has no vector table at address {FLASH[0]}")
    stack, start = struct.unpack_from("<II", vectors)
    if not (RAM[0] < stack <= sum(RAM) and start % 2 == 1 and start < sum(FLASH)):
        raise UsageError(f"{path}: begins with no vector table of a Cortex-M with this memory")
    return Image(path.name, hashlib.sha256(data).hexdigest(), segments, stack, start)


def _segments(path: Path, data: bytes) -> list[tuple[int, bytes]]:
    _, bits, order, kind, machine, _, _, table, _ = _HEADER.unpack_from(data)
    if (bits, order, machine, kind) != (1, 1, _MACHINE_ARM, _EXECUTABLE):
        raise UsageError(f"{path}: is no 32-bit ARM program")
    size, count = struct.unpack_from("<HH", data, 42)
    found = []
    for at in range(table, table + size * count, size or 1):
        what, offset, _, address, held = struct.unpack_from("<5I", data, at)
        if what != _LOADED or not held:
            continue
        if offset + held > len(data):
            raise UsageError(f"{path}: ends too early for an ELF file")
        if address + held > sum(FLASH):
            raise UsageError(
                f"{path}: wants {held} bytes at 0x{address:08x}, where this board has no flash"
            )
        found.append((address, data[offset : offset + held]))
    return found


class CoreStream:
    """A core that executes an image, seen as the other end of its UART.

    It runs while somebody reads, until it waits or the reader's patience ends. Raises UsageError
    without the emulator.
    """

    def __init__(self, image: Image) -> None:
        self._unicorn: Any = _emulator()
        from unicorn import arm_const  # noqa: PLC0415 - an extra

        self.name = f"core '{image.name}'"
        self._uart = Uart()
        self._counter: int = arm_const.UC_ARM_REG_PC
        self._at = image.start
        self._core: Any = self._unicorn.Uc(
            self._unicorn.UC_ARCH_ARM, self._unicorn.UC_MODE_THUMB | self._unicorn.UC_MODE_MCLASS
        )
        self._core.ctl_set_cpu_model(arm_const.UC_CPU_ARM_CORTEX_M4)
        self._core.ctl_set_tlb_mode(self._unicorn.UC_TLB_VIRTUAL)
        self._core.hook_add(self._unicorn.UC_HOOK_TLB_FILL, self._on_page)
        self._core.mem_map(*FLASH, self._unicorn.UC_PROT_READ | self._unicorn.UC_PROT_EXEC)
        self._core.mem_map(*RAM, self._unicorn.UC_PROT_READ | self._unicorn.UC_PROT_WRITE)
        self._core.mem_map(*_SYSTEM, self._unicorn.UC_PROT_READ | self._unicorn.UC_PROT_WRITE)
        self._uart.connect(self._core)
        for address, held in image.segments:
            self._core.mem_write(address, held)
        self._core.reg_write(arm_const.UC_ARM_REG_SP, image.stack)
        self._waits = False
        self._until = math.inf
        self._closed = threading.Event()
        threading.Thread(target=self._watch, daemon=True).start()

    def write(self, data: bytes) -> None:
        """Put bytes on the line."""
        self._uart.put(data)

    def read(self, timeout_s: float) -> bytes:
        """Let the core run until it waits, and take what it sent. Raises GoneError."""
        if self._closed.is_set():
            raise GoneError("is switched off")
        if self._uart.fill() or not self._waits:
            self._run(timeout_s)
        elif not self._uart.has_sent:
            time.sleep(max(0.0, timeout_s))  # nothing comes of itself
        return self._uart.take()

    def close(self) -> None:
        """Switch it off."""
        self._closed.set()

    def _run(self, timeout_s: float) -> None:
        self._until = time.monotonic() + timeout_s
        try:
            self._core.emu_start(self._at | 1, _FOREVER)
        except self._unicorn.UcError as error:
            at = self._core.reg_read(self._counter)
            raise GoneError(f"went wrong at address 0x{at:08x}: {error}") from error
        finally:
            self._until = math.inf
        self._at = self._core.reg_read(self._counter)
        self._waits = self._core.mem_read(self._at - len(_WAIT), len(_WAIT)) == _WAIT

    def _watch(self) -> None:
        """Stop a core that does not wait, beside the thread that runs it."""
        while not self._closed.wait(_WATCH_S):
            if time.monotonic() > self._until:
                self._core.emu_stop()

    def _on_page(
        self, core: object, address: int, access: int, page: Page, context: object
    ) -> bool:
        """What may be done with a page. Where nothing is executed the emulator need not look for
        code at every store, which took it ten times as long as the store.
        """
        del core, access, context
        page.paddr = address
        flash = address < sum(FLASH)
        other = self._unicorn.UC_PROT_EXEC if flash else self._unicorn.UC_PROT_WRITE
        page.perms = self._unicorn.UC_PROT_READ | other
        return True


def _emulator() -> ModuleType:
    try:
        import unicorn  # noqa: PLC0415 - an extra
    except ImportError as error:
        raise UsageError(
            "target 'core' needs unicorn, which is not installed: pip install 'drycount[core]'"
        ) from error
    module: ModuleType = unicorn
    return module
