"""Compiles the C step with the system's compiler."""

from __future__ import annotations

import shutil
import subprocess
from pathlib import Path
from typing import Final

from cpeer.structures import header, tables_header

__all__ = ["FLAGS", "CompilerError", "build", "find_compiler"]

#: no fast-math, no contraction: IEEE 754 as it is written, as numba compiles ours
FLAGS: Final = (
    "-std=c99",
    "-O3",
    "-ffp-contract=off",
    "-Wall",
    "-Wextra",
    "-Werror",
    "-fPIC",
    "-shared",
)


class CompilerError(RuntimeError):
    """There is no C compiler, or it refuses the step."""


def find_compiler() -> str | None:
    """Path of the system's C compiler, None without one."""
    return shutil.which("cc")


def build(folder: Path) -> Path:
    """Write layout.h and tables.h into `folder` and compile the step there; returns the library.

    Raises CompilerError.
    """
    compiler = find_compiler()
    if compiler is None:
        raise CompilerError("no C compiler: `cc` is not on the path")
    (folder / "layout.h").write_text(header(), encoding="utf-8")
    (folder / "tables.h").write_text(tables_header(), encoding="utf-8")
    library = folder / "world.so"
    here = Path(__file__).parent
    done = subprocess.run(
        [compiler, *FLAGS, f"-I{folder}", "-o", library, here / "world.c", "-lm"],
        check=False,
        capture_output=True,
        text=True,
    )
    if done.returncode != 0:
        raise CompilerError(f"{compiler} ended with {done.returncode}:\n{done.stderr[-4000:]}")
    return library
