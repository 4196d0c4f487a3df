"""Sequences as machine code of a Cortex-M: images for the emulated board, one as an executor."""

from __future__ import annotations

import tempfile
from functools import cache
from pathlib import Path

import numpy as np
from building import need, once
from kit_rig import CORES, HERE, LINK, MEMORY, SOURCES, STRICT, run

from hil.cores import RAM, CoreStream, load_image
from hil.export import export_c, tables_header, tables_source
from hil.kit_tables import kit_tables
from hil.layout_header import KIT
from hil.targets import LinkTarget
from sequencer.execute.layout import Head
from sequencer.flight.target import Boot

BENCH = KIT / "bench"
PORT = BENCH / "lm3s"
COMPILER, *M3 = CORES["cortex-m3"]
M4F = CORES["cortex-m4"][1:]
#: how the numbers of an image are worked out: by the compiler's routines, or by the core's unit
WAYS = {
    "double": tuple(M3),
    "single": (*M3, "-DDC_SINGLE"),
    "single_unit": (*M4F, "-DDC_SINGLE"),
}
_FLAGS = (*STRICT, "-O2", "-DDC_BENCH", "-DDC_NAMES")
_HERE = (f"-I{KIT}", f"-I{BENCH}", f"-I{HERE}")


@cache
def objects(way):
    """What all images of a way have in common, and what reads the memory of one."""
    build = (need(COMPILER), *WAYS[way], *_FLAGS)
    sources = (*SOURCES, *LINK, PORT / "start.c", MEMORY[0])

    def make(folder):
        run([*build, *_HERE, "-c", *sources], cwd=folder)

    return tuple(sorted(once([*build, *MEMORY], make).glob("*.o")))


def images(*sequences, way="double"):
    """Folder with NAME.elf for each sequence, built once."""
    tables = [write(each) for each in sequences for write in (tables_header, tables_source)]
    build = (need(COMPILER), *WAYS[way], *_FLAGS)

    def make(folder):
        for each in sequences:
            build_image(folder, each, way)

    return once([*build, *tables], make)


def build_image(folder, sequence, way="double", *, memory=False):
    """NAME.elf in a folder: start-up, memory layout, no library.

    memory   with what reads all that it remembers
    """
    export_c(sequence, folder)
    linked = [each for each in objects(way) if memory or each.stem != MEMORY[0].stem]
    own = (PORT / "board.c", folder / f"{sequence.name}_tables.c", *linked)
    named = (f"-DSEQUENCE={sequence.name}", *_HERE, f"-I{folder}")
    layout = ("-nostdlib", "-T", PORT / "lm3s.ld")
    image = folder / f"{sequence.name}.elf"
    run([need(COMPILER), *WAYS[way], *_FLAGS, *named, *layout, "-o", image, *own, "-lgcc"])
    return image


class CoreExecutor:
    """An `Executor` that is machine code in double precision on the emulated core.

    Ticks go over its UART; what it remembers is read by calling a function of the image.
    """

    #: where the answer of that function is put: beyond all that the image uses
    _ANSWER = RAM[0] + RAM[1] // 2

    def __init__(self, sequence):
        from unicorn import arm_const

        self.sequence = sequence
        with tempfile.TemporaryDirectory() as folder:
            image = build_image(Path(folder), sequence, memory=True)
            self._symbols = _symbols(image)
            self._core = CoreStream(load_image(image))
        self._target = LinkTarget(sequence, self._core)
        self._kit = kit_tables(sequence)
        names = ("R0", "R1", "LR", "PC")
        self._registers = [getattr(arm_const, f"UC_ARM_REG_{name}") for name in names]
        self.boot()

    def close(self):
        self._target.close()

    def boot(self, retained=None):
        """The image keeps its own flags; they are those of the last tick."""
        self._target.reset(Boot.COLD if retained is None else Boot.WARM)

    def tick(self, clock, values, fresh):
        return self._target.exchange(clock, values, fresh)

    def flags(self):
        return {
            name: bool(self._call("dc_flag", at) & 0xFF)
            for at, name in enumerate(self.sequence.flags)
        }

    def registers(self):
        self._call("kit_memory", self._ANSWER)
        size = self._kit.code[Head.SIZE]
        data = self._core._core.mem_read(self._ANSWER, 8 * size)
        memory = np.frombuffer(bytes(data), dtype="<f8").tolist()
        places = self._kit.tables.registers
        return {
            "state": memory[0],
            "entered": memory[1],
            **{name: memory[at] for name, at in places.items()},
        }

    def _call(self, function, argument):
        """A function of the logic and one number; its answer. The core is as it was afterwards."""
        core = self._core._core
        context = core.context_save()
        back = self._symbols["on_fault"] & ~1
        given = (self._symbols["exported"], argument, back | 1, self._symbols[function] | 1)
        for register, value in zip(self._registers, given, strict=True):
            core.reg_write(register, value)
        core.emu_start(self._symbols[function] | 1, back)
        answer = core.reg_read(self._registers[0])
        core.context_restore(context)
        return answer


def _symbols(image):
    """Name -> address."""
    lines = run([COMPILER.replace("gcc", "nm"), image]).splitlines()
    return {name: int(at, 16) for at, _, name in (line.split() for line in lines)}
