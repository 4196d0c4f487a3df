"""How the interpreter of sequences is compiled, and where its code is kept."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Final

import numpy as np

from sequencer import compiling

__all__ = ["DECISIONS", "KERNEL", "SOURCES", "compiled", "plain", "prepare"]

_HERE: Final = Path(__file__).parent
#: every file whose text can change what the interpreter does
SOURCES: Final = (
    Path(compiling.__file__),
    *(
        _HERE / f"{name}.py"
        for name in ("estimating", "evaluating", "interpret", "jit", "layout", "pointers")
    ),
)

KERNEL: Final = compiling.Kernels("sequence", SOURCES)
#: what looks at the decisions of a tick (`sequencer.execute.observing`)
DECISIONS: Final = compiling.Kernels("decisions", (*SOURCES, _HERE / "observing.py"))
#: decorator of every function of the interpreter
compiled = KERNEL.compiled


def plain(number: int) -> int:
    """An integer constant as any other integer; see `sequencer.world.jit.plain`."""
    return np.int64(number)  # type: ignore[return-value]  # behaves as one


def prepare(announce: Callable[[str], None] | None = None) -> None:
    """Compile the interpreter for this machine unless that has been done for this version."""
    KERNEL.prepare(_load, announce)


def _load() -> None:
    import sequencer.execute.interpret  # noqa: F401, PLC0415 - importing compiles or loads it
