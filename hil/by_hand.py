"""The demo's flight logic written by hand in C99: its program, and variants with a mistake each.

The sources and the list of variants lie beside the demo's scenarios, in ``firmware``.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import tomllib
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from hil.layout_header import KIT
from sequencer.errors import InternalError, UsageError
from sequencer.scenario.starter import demo_folder

__all__ = ["Variant", "build", "firmware_folder", "sources", "variants"]

_BENCH: Final = KIT / "bench"


@dataclass(frozen=True, slots=True)
class Variant:
    """A mistake that is built in by ``-DVARIANT_NAME``, and where it is noticed.

    scenario   of the demo, its file's name without the ending
    time_s     of the first divergence from the model, s
    state      in which the model began that tick
    told       part of the sentence that tells it
    """

    name: str
    mistake: str
    scenario: str
    time_s: float
    state: str
    told: str


def firmware_folder() -> Path:
    """Where the sources lie."""
    return demo_folder() / "firmware"


def variants() -> tuple[Variant, ...]:
    """All known mistakes, in the order of their file."""
    text = (firmware_folder() / "variants.toml").read_text(encoding="utf-8")
    return tuple(Variant(**each) for each in tomllib.loads(text)["variants"])


def sources() -> tuple[Path, ...]:
    """The firmware's own files, and the link with the program's face to this host."""
    own = sorted(firmware_folder().glob("*.c"))
    return (*own, *sorted(_BENCH.glob("dc_link*.c")), _BENCH / "host.c")


def build(
    program: Path,
    variant: str = "",
    *,
    compiler: Sequence[str] = ("cc",),
    flags: Sequence[str] = (),
) -> Path:
    """Compile the firmware into a program for ``exec:``; returns its path.

    variant    name of a mistake to build in; without it the firmware as it should be

    Raises UsageError for an unknown variant and without the compiler; InternalError where the
    compiler does not take the sources.
    """
    known = [each.name for each in variants()]
    if variant and variant not in known:
        raise UsageError(f"unknown variant '{variant}' (known: {', '.join(known)})")
    if shutil.which(compiler[0]) is None:
        raise UsageError(f"no C compiler: '{compiler[0]}' is not on the path")
    words = [
        *(*compiler, "-std=c99", "-O2", "-DDC_BENCH", *flags),
        *((f"-DVARIANT_{variant}",) if variant else ()),
        *(f"-I{folder}" for folder in (KIT, _BENCH, firmware_folder())),
        *("-o", os.fspath(program), *map(os.fspath, sources())),
    ]
    done = subprocess.run(words, check=False, capture_output=True, text=True)  # noqa: S603 - ours
    if done.returncode != 0:
        raise InternalError(f"{compiler[0]} does not take the firmware: {done.stderr}")
    return program
