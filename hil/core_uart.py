"""The UART of an emulated core: a PL011 as far as the kit's image looks at one.

    ARM DDI 0183, PrimeCell UART (PL011): data register at 0x00, flags at 0x18, FIFO of 16

The line is as fast as the image takes bytes, and errors, modem lines and interrupts are none. Every
byte is two or three accesses of the image, so the registers are compiled: the emulator calls them
as it would call functions in C.
"""

from __future__ import annotations

import ctypes
from pathlib import Path
from typing import Any, Final, TypeAlias

import numpy as np
from numba import carray, types  # type: ignore[attr-defined]  # it publishes none

from sequencer import compiling

__all__ = ["UART", "Uart"]

#: what the compiled functions are handed, and a core of the emulator: without a type of Python's
Handed: TypeAlias = Any
#: where its registers are, and how far they go
UART: Final = (0x4000C000, 0x1000)
_DATA: Final = 0x00
_FLAGS: Final = 0x18
_NOTHING_RECEIVED: Final = 0x10
_CANNOT_SEND: Final = 0x20
_RECEIVED_FULL: Final = 0x40
_ALL_SENT: Final = 0x80
_FIFO: Final = 16

#: bytes each way between two looks of the host; an image that says more before it waits babbles
_ROOM: Final = 1 << 16
#: places in the memory: how many bytes came, how many of them were fetched, how many were sent
_CAME: Final = 0
_FETCHED: Final = 1
_SENT: Final = 2
_IN: Final = 3
_OUT: Final = _IN + _ROOM
_WORDS: Final = _OUT + _ROOM

_KERNEL: Final = compiling.Kernels("core", (Path(compiling.__file__), Path(__file__)))
_READS: Final = types.uint64(types.voidptr, types.uint64, types.uint32, types.voidptr)
_WRITES: Final = types.void(types.voidptr, types.uint64, types.uint32, types.uint64, types.voidptr)


@_KERNEL.compiled()
def _load(memory: Handed, register: Handed) -> Handed:
    """What the image reads."""
    waiting = memory[_CAME] - memory[_FETCHED]
    if register == _FLAGS:
        flags = _ALL_SENT if memory[_SENT] < _ROOM else _CANNOT_SEND
        if waiting == 0:
            return flags | _NOTHING_RECEIVED
        return flags | _RECEIVED_FULL if waiting >= _FIFO else flags
    if register == _DATA and waiting > 0:
        memory[_FETCHED] += 1
        return memory[_IN + memory[_FETCHED] - 1]
    return 0


@_KERNEL.compiled()
def _store(memory: Handed, register: Handed, value: Handed) -> None:
    """What the image writes; a byte too many is lost, as with the real one."""
    if register == _DATA and memory[_SENT] < _ROOM:
        memory[_OUT + memory[_SENT]] = value & 0xFF
        memory[_SENT] += 1


@_KERNEL.callback(_READS)
def _on_load(_core: Handed, register: Handed, _size: Handed, memory: Handed) -> Handed:
    return np.uint64(_load(carray(memory, (_WORDS,), np.int32), np.int64(register)))


@_KERNEL.callback(_WRITES)
def _on_store(
    _core: Handed, register: Handed, _size: Handed, value: Handed, memory: Handed
) -> None:
    _store(carray(memory, (_WORDS,), np.int32), np.int64(register), np.int64(value))


class Uart:
    """The registers, and the host's end of the line."""

    def __init__(self) -> None:
        self._memory = np.zeros(_WORDS, dtype=np.int32)
        self._later = bytearray()

    def connect(self, core: Handed) -> None:
        """Put it at its address of a core (unicorn.Uc)."""
        try:
            from unicorn.unicorn_py3.unicorn import uclib as library  # noqa: PLC0415 - an extra

            handle = core._uch  # noqa: SLF001 - its own calls take Python functions only
        except (ImportError, AttributeError):
            # another version of the emulator's Python face: the same, five times as slow
            core.mmio_map(*UART, self._asked, None, self._told, None)
            return
        memory = self._memory.ctypes.data
        functions = [_on_load.address, memory, _on_store.address, memory]
        words = [ctypes.c_uint64(UART[0]), ctypes.c_size_t(UART[1])]
        failed = library.uc_mmio_map(handle, *words, *map(ctypes.c_void_p, functions))
        if failed:
            raise RuntimeError(f"the emulator maps no UART: error {failed}")

    def put(self, data: bytes) -> None:
        """Bytes for the image."""
        self._later += data

    def fill(self) -> bool:
        """Hand over what was put; whether anything waits for the image."""
        memory = self._memory
        if memory[_FETCHED] == memory[_CAME]:
            memory[_CAME] = memory[_FETCHED] = 0
        came = int(memory[_CAME])
        data = self._later[: _ROOM - came]
        del self._later[: len(data)]
        memory[_IN + came : _IN + came + len(data)] = np.frombuffer(bytes(data), dtype=np.uint8)
        memory[_CAME] = came + len(data)
        return bool(memory[_FETCHED] < memory[_CAME])

    @property
    def has_sent(self) -> bool:
        """Whether the image has sent something that nobody took."""
        return bool(self._memory[_SENT] > 0)

    def take(self) -> bytes:
        """What the image has sent since."""
        memory = self._memory
        sent = memory[_OUT : _OUT + int(memory[_SENT])].astype(np.uint8).tobytes()
        memory[_SENT] = 0
        return sent

    def _asked(self, core: object, register: int, size: int, context: object) -> int:
        del core, size, context
        return int(_load(self._memory, register))

    def _told(self, core: object, register: int, size: int, value: int, context: object) -> None:
        del core, size, context
        _store(self._memory, register, value)
