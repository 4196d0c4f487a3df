"""How the batch kernel is compiled, and where its code is kept.

The world's step and the interpreter of sequences are called through pointers: they stay the very
code that single flights run, and this kernel is compiled without them, in seconds.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Final

from sequencer import compiling
from sequencer.execute import layout as logic_layout
from sequencer.execute.jit import plain
from sequencer.vehicle import capacity
from sequencer.world import chance
from sequencer.world import layout as world_layout

__all__ = ["KERNEL", "SOURCES", "compiled", "plain", "prepare"]

_HERE: Final = Path(__file__).parent
#: every file whose text can change what the kernel does
SOURCES: Final = (
    Path(compiling.__file__),
    Path(logic_layout.__file__),
    Path(capacity.__file__),
    Path(chance.__file__),
    Path(world_layout.__file__),
    *(
        _HERE / f"{name}.py"
        for name in ("clocks", "computers", "jit", "kernel", "layout", "mail", "moments", "notes")
    ),
)

KERNEL: Final = compiling.Kernels("batch", SOURCES)
#: decorator of every function of the kernel
compiled = KERNEL.compiled


def prepare(announce: Callable[[str], None] | None = None) -> None:
    """Compile the kernel for this machine unless that has been done for this version."""
    KERNEL.prepare(_load, announce)


def _load() -> None:
    import sequencer.flight.batch.kernel  # noqa: F401, PLC0415 - importing compiles or loads it
