"""How the functions of the physics kernel are compiled, and where their code is kept."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any, Final, TypeAlias

import numpy as np

from sequencer import compiling
from sequencer.vehicle import capacity

__all__ = ["KERNEL", "SOURCES", "Record", "compiled", "plain", "prepare"]

#: one record of a layout, as the compiled functions see it: fields are attributes
Record: TypeAlias = Any

_HERE: Final = Path(__file__).parent
#: every file whose text can change a result of the kernel
SOURCES: Final = (
    Path(compiling.__file__),
    Path(capacity.__file__),
    *(
        _HERE / f"{name}.py"
        for name in (
            "air",
            "answers",
            "battery",
            "chance",
            "circuits",
            "forces",
            "heating",
            "jit",
            "kernel",
            "layout",
            "mechanisms",
            "motion",
            "motors",
            "network",
            "observe",
            "rotation",
            "sensing",
            "surface",
            "taps",
            "turbulence",
        )
    ),
)

KERNEL: Final = compiling.Kernels("flight", SOURCES)
#: decorator of every function of the kernel
compiled = KERNEL.compiled


def plain(number: int) -> int:
    """An integer constant as any other integer.

    numba would compile a callee anew for every Python integer that is handed to it by name.
    """
    return np.int64(number)  # type: ignore[return-value]  # behaves as one


def prepare(announce: Callable[[str], None] | None = None) -> None:
    """Compile the kernel for this machine unless that has been done for this version.

    Call it once before workers start: a second process waits here instead of compiling as well.
    `announce` gets one line if it will take long (some ten seconds), and is not called otherwise.
    """
    KERNEL.prepare(_load, announce)


def _load() -> None:
    import sequencer.world.kernel  # noqa: F401, PLC0415 - importing compiles or loads it
