"""An exported sequence as a program of this host, and as the image of an emulated board.

What docs/kit.md and docs/targets.md tell people to type, for measurements and proofs of our own.
"""

from __future__ import annotations

import os
import shutil
import subprocess
from collections.abc import Sequence
from pathlib import Path
from typing import Final

from hil.export import export_c
from hil.layout_header import KIT
from sequencer.errors import InternalError, UsageError
from sequencer.sequence import Sequence as FlightLogic

__all__ = ["CROSS", "HOST", "NUMBERS", "build_image", "build_program"]

#: the compilers: of this host, and of the emulated board
HOST: Final = "cc"
CROSS: Final = "arm-none-eabi-gcc"
#: which numbers an image computes with -> what its compiler is told
NUMBERS: Final = {
    "double": ("-mcpu=cortex-m3",),
    "single": ("-mcpu=cortex-m3", "-DDC_SINGLE"),
    "single_by_hardware": (
        *("-mcpu=cortex-m4", "-mfloat-abi=hard", "-mfpu=fpv4-sp-d16"),
        "-DDC_SINGLE",
    ),
}
_BENCH: Final = KIT / "bench"
_BOARD: Final = _BENCH / "lm3s"
_SHARED: Final = (*sorted(KIT.glob("*.c")), *sorted(_BENCH.glob("dc_link*.c")))


def build_program(program: Path, sequence: FlightLogic, *, compiler: str = HOST) -> Path:
    """A program for ``exec:``; its tables go into a folder beside it. Returns its path.

    Raises UsageError without the compiler, InternalError where it does not take our sources.
    """
    return _build(program, sequence, (compiler,), (*_SHARED, _BENCH / "host.c"))


def build_image(
    image: Path, sequence: FlightLogic, *, numbers: str = "double", compiler: str = CROSS
) -> Path:
    """An image for ``core:`` and ``qemu:``; its tables go into a folder beside it.

    numbers   a key of NUMBERS

    Returns its path. Raises as `build_program` does.
    """
    words = (
        *(compiler, *NUMBERS[numbers], "-mthumb", "-ffreestanding", "-nostdlib"),
        *("-T", os.fspath(_BOARD / "lm3s.ld")),
    )
    sources = (*_SHARED, *sorted(_BOARD.glob("*.c")))
    return _build(image, sequence, words, sources, ("-lgcc",))


def _build(
    made: Path,
    sequence: FlightLogic,
    words: Sequence[str],
    sources: Sequence[Path],
    libraries: Sequence[str] = (),
) -> Path:
    if shutil.which(words[0]) is None:
        raise UsageError(f"no C compiler: '{words[0]}' is not on the path")
    folder = made.with_name(f"{made.name}_tables")
    tables = [file for file in export_c(sequence, folder) if file.suffix == ".c"]
    flags = ("-std=c99", "-O2", "-DDC_BENCH", "-DDC_NAMES", f"-DSEQUENCE={sequence.name}")
    done = subprocess.run(  # noqa: S603 - a compiler, with words of ours
        [
            *(*words, *flags, *(f"-I{each}" for each in (KIT, _BENCH, folder))),
            *("-o", os.fspath(made), *map(os.fspath, (*tables, *sources)), *libraries),
        ],
        check=False,
        capture_output=True,
        text=True,
    )
    if done.returncode != 0:
        raise InternalError(f"{words[0]} does not take the kit: {done.stderr}")
    return made
