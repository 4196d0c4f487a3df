"""Flight logic in C as a program of this host, and as the image of an emulated board.

What docs/kit.md and docs/targets.md tell people to type, for measurements and proofs of our own.
"""

from __future__ import annotations

import os
import shutil
import subprocess
from collections.abc import Callable, Sequence
from functools import partial
from pathlib import Path
from typing import Final

from hil.export import export_c
from hil.layout_header import KIT
from sequencer.errors import InternalError, UsageError
from sequencer.sequence import Sequence as FlightLogic

__all__ = ["CROSS", "HOST", "NUMBERS", "build_image", "build_program", "link_image", "link_program"]

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
_LINK: Final = tuple(sorted(_BENCH.glob("dc_link*.c")))
_KIT: Final = tuple(sorted(KIT.glob("*.c")))


def build_program(program: Path, sequence: FlightLogic, *, compiler: str = HOST) -> Path:
    """A program for ``exec:``; its tables go into a folder beside it. Returns its path.

    Raises UsageError without the compiler, InternalError where it does not take our sources.
    """
    return _exported(sequence, program, link_program, compiler)


def build_image(
    image: Path, sequence: FlightLogic, *, numbers: str = "double", compiler: str = CROSS
) -> Path:
    """An image for ``core:`` and ``qemu:``; its tables go into a folder beside it.

    numbers   a key of NUMBERS

    Returns its path. Raises as `build_program` does.
    """
    return _exported(sequence, image, partial(link_image, numbers=numbers), compiler)


def link_program(
    program: Path,
    sources: Sequence[Path],
    flags: Sequence[str] = (),
    *,
    compiler: Sequence[str] = (HOST,),
) -> Path:
    """A program for ``exec:`` of logic that has a `dc_join`; link and this host's face are added.

    Returns its path. Raises as `build_program` does.
    """
    return _link(program, (*compiler, *flags), (*sources, *_LINK, _BENCH / "host.c"))


def link_image(
    image: Path,
    sources: Sequence[Path],
    flags: Sequence[str] = (),
    *,
    compiler: Sequence[str] = (CROSS,),
    numbers: str = "double",
) -> Path:
    """The same for ``core:`` and ``qemu:``, with the emulated board's face and no library."""
    words = (*NUMBERS[numbers], "-mthumb", "-ffreestanding", "-nostdlib")
    layout = ("-T", os.fspath(_BOARD / "lm3s.ld"))
    board = sorted(_BOARD.glob("*.c"))
    everything = (*sources, *_LINK, *board)
    return _link(image, (*compiler, *words, *layout, *flags), everything, ("-lgcc",))


def _exported(sequence: FlightLogic, made: Path, link: Callable[..., Path], compiler: str) -> Path:
    folder = made.with_name(f"{made.name}_tables")
    tables = [file for file in export_c(sequence, folder) if file.suffix == ".c"]
    flags = ("-DDC_NAMES", f"-DSEQUENCE={sequence.name}", f"-I{folder}")
    return link(made, (*tables, *_KIT), flags, compiler=(compiler,))


def _link(
    made: Path, words: Sequence[str], sources: Sequence[Path], libraries: Sequence[str] = ()
) -> Path:
    if shutil.which(words[0]) is None:
        raise UsageError(f"no C compiler: '{words[0]}' is not on the path")
    done = subprocess.run(  # noqa: S603 - a compiler, with words of ours
        [
            *(*words, "-std=c99", "-O2", "-DDC_BENCH", f"-I{KIT}", f"-I{_BENCH}"),
            *("-o", os.fspath(made), *map(os.fspath, sources), *libraries),
        ],
        check=False,
        capture_output=True,
        text=True,
    )
    if done.returncode != 0:
        raise InternalError(f"{words[0]} does not take our sources: {done.stderr}")
    return made
