"""The C kit as an executor of this host: one library, built once, fed with tables at run time."""

from __future__ import annotations

import ctypes
import os
import subprocess
from pathlib import Path

import numpy as np
from building import need, once

from hil.export import export_c, tables_header, tables_source
from hil.kit_tables import kit_tables
from hil.layout_header import KIT
from sequencer.execute import Outputs
from sequencer.execute.layout import EventKind, Head
from sequencer.execute.words import Words

#: what the kit promises to build with on every compiler
STRICT = (
    *("-std=c99", "-pedantic", "-Wall", "-Wextra", "-Wconversion", "-Wsign-conversion"),
    *("-Wshadow", "-Wstrict-prototypes", "-Wmissing-prototypes", "-Wundef", "-Wcast-align"),
    *("-Wdouble-promotion", "-Werror"),
)
#: compiler and what it builds for; AVR's double is single precision
CORES = {
    "x86-64": ("cc",),
    "cortex-m0plus": ("arm-none-eabi-gcc", "-mthumb", "-mcpu=cortex-m0plus", "-ffreestanding"),
    "cortex-m3": ("arm-none-eabi-gcc", "-mthumb", "-mcpu=cortex-m3", "-ffreestanding"),
    "cortex-m4": (
        *("arm-none-eabi-gcc", "-mthumb", "-mcpu=cortex-m4", "-ffreestanding"),
        *("-mfloat-abi=hard", "-mfpu=fpv4-sp-d16"),
    ),
    "cortex-m7": ("arm-none-eabi-gcc", "-mthumb", "-mcpu=cortex-m7", "-ffreestanding"),
    "atmega2560": ("avr-gcc", "-mmcu=atmega2560"),
}
SOURCES = sorted(KIT.glob("*.c"))
LINK = sorted((KIT / "bench").glob("dc_link*.c"))
HERE = Path(__file__).parent
#: all that an instance remembers, for whoever compares it
MEMORY = (HERE / "kit_memory.c", HERE / "kit_memory.h")
_HOST = (HERE / "kit_host.c", MEMORY[0])


def run(command, **given):
    """Run a tool, which must succeed; what it said."""
    done = subprocess.run(
        [os.fspath(part) for part in command], check=False, capture_output=True, text=True, **given
    )
    assert done.returncode == 0, f"{command[0]} ended with {done.returncode}:\n{done.stderr}"
    return done.stdout


def programs(sequences, *flags, wirings=None):
    """Folder with a program of this host for each sequence, named after it; flags of the compiler.

    wirings   by name of the sequence, for those that know one
    """
    build = (need("cc"), *STRICT, "-O1", "-DDC_BENCH", "-DDC_NAMES", *flags)
    wirings = wirings or {}
    tables = [
        write(each, wirings.get(each.name))
        for each in sequences
        for write in (tables_header, tables_source)
    ]

    def make(folder):
        run([*build, f"-I{KIT}", "-c", *SOURCES, *LINK], cwd=folder)
        objects = sorted(folder.glob("*.o"))
        for each in sequences:
            export_c(each, folder, wiring=wirings.get(each.name))
            own = (*objects, KIT / "bench" / "host.c", folder / f"{each.name}_tables.c")
            around = (f"-I{KIT}", f"-I{folder}", "-o", folder / each.name)
            run([*build, f"-DSEQUENCE={each.name}", *around, *own])

    return once([*build, *tables], make)


def build_host(*flags, exported=None):
    """The kit as a loaded library.

    exported   header and source of a sequence's tables; without them they come at run time
    """
    compiler = (need("cc"), "-std=c99", "-O1", "-ffp-contract=off", "-fPIC", "-shared", *flags)
    header, source = exported or (None, None)

    def make(folder):
        given = ()
        if exported is not None:
            name = source.name.removesuffix("_tables.c")
            given = (f"-DEXPORTED={name}", f"-I{header.parent}", source)
        run([*compiler, f"-I{KIT}", "-o", folder / "kit.so", *given, *SOURCES, *_HOST])

    library = once([*compiler, *_HOST, *MEMORY, *(exported or ())], make) / "kit.so"
    loaded = ctypes.CDLL(os.fspath(library))
    pointer = ctypes.c_void_p
    loaded.host_new.restype = pointer
    loaded.host_new.argtypes = [pointer] * 4
    if exported is not None:
        loaded.host_exported.restype = pointer
    loaded.host_free.argtypes = [pointer]
    loaded.host_boot.argtypes = [pointer, pointer]
    loaded.host_tick.argtypes = [pointer, ctypes.c_uint32, pointer, pointer, pointer]
    loaded.host_state.argtypes = [pointer]
    loaded.host_outputs.argtypes = [pointer] * 4
    loaded.host_message.argtypes = [pointer] * 3
    loaded.host_memory.argtypes = [pointer, pointer]
    loaded.host_root.argtypes = [ctypes.c_double]
    loaded.host_root.restype = ctypes.c_double
    return loaded


class KitExecutor:
    """An `Executor` that is the C kit; `single`, `bits`, `exported` as the library was built."""

    def __init__(self, sequence, library, *, single=False, bits=16, exported=False):
        self.sequence = sequence
        self._library = library
        self._kit = kit = kit_tables(sequence)
        assert kit.bits <= bits
        self._code = np.array(kit.code, dtype=np.int16 if bits == 16 else np.int32)
        self._numbers = np.array(kit.numbers, dtype=np.float32 if single else np.float64)
        at = np.array(
            [
                *(kit.starts, kit.constants, kit.flags, kit.published, kit.positions),
                *(kit.fields, kit.period),
            ],
            dtype=np.uint32,
        )
        sizes = np.array(list(kit.sizes.values()), dtype=np.uint32)
        self._handle = (
            library.host_exported()
            if exported
            else library.host_new(
                *(each.ctypes.data for each in (self._code, self._numbers, at, sizes))
            )
        )
        self._values = np.zeros(len(sequence.inputs))
        self._fresh = np.zeros(len(sequence.inputs), dtype=np.uint8)
        self._events = np.zeros((kit.sizes["events"], 3), dtype=np.int32)
        self._on = np.zeros(kit.sizes["pulses"], dtype=np.uint8)
        self._demands = np.zeros(kit.sizes["servos"])
        self._flags = np.zeros(len(sequence.flags), dtype=np.uint8)
        self._message = np.zeros(kit.fields)
        self._bad = np.zeros(kit.fields, dtype=np.uint8)
        self._image = np.zeros(kit.code[Head.SIZE])
        self._words = Words(kit.tables)
        self._servos = [each for each in sequence.functions.values() if each.kind == "servo"]
        self.boot()

    def __del__(self):
        self._library.host_free(self._handle)

    def boot(self, retained=None):
        given = None
        if retained is not None:
            given = np.array([retained.get(n, False) for n in self.sequence.flags], dtype=np.uint8)
        self._library.host_boot(self._handle, None if given is None else given.ctypes.data)

    def tick(self, clock, values, fresh):
        self._values[:] = values
        self._fresh[:] = fresh
        library, handle = self._library, self._handle
        count = library.host_tick(
            *(handle, clock),
            *(each.ctypes.data for each in (self._values, self._fresh, self._events)),
        )
        assert count >= 0, "events were lost"
        self._look()
        message = None
        if library.host_message(handle, self._message.ctypes.data, self._bad.ctypes.data):
            message = tuple(np.where(self._bad == 1, np.nan, self._message).tolist())
        return Outputs(
            list(self.sequence.states)[library.host_state(handle)],
            tuple(self._tell(*row) for row in self._events[:count].tolist()),
            tuple(bool(on) for on in self._on),
            tuple(self._demands.tolist()),
            message,
        )

    def flags(self):
        self._look()
        return {n: bool(on) for n, on in zip(self.sequence.flags, self._flags, strict=True)}

    def registers(self):
        self._library.host_memory(self._handle, self._image.ctypes.data)
        memory = self._image.tolist()
        places = self._kit.tables.registers
        return {
            "state": memory[0],
            "entered": memory[1],
            **{name: memory[at] for name, at in places.items()},
        }

    def _look(self):
        self._library.host_outputs(
            self._handle, *(each.ctypes.data for each in (self._on, self._demands, self._flags))
        )

    def _tell(self, kind, about, detail):
        if kind == EventKind.MOVED:  # the kit tells which of the servo's positions it is
            servo = self._servos[about]
            return "moved", servo.name, servo.positions[detail][0]
        return self._words.tell(kind, about, detail)
