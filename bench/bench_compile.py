"""How long the very first command waits for its kernels to be compiled."""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
import time

_WORLD = "sequencer.world.kernel"
_LOGIC = "sequencer.execute.interpret"
_BATCH = "sequencer.flight.batch.kernel"


def measure() -> list[tuple[str, float, str, str]]:
    """One compilation into an empty cache, and one start with it filled, s."""
    with tempfile.TemporaryDirectory() as cache:
        cold, warm = _load(cache, _WORLD), _load(cache, _WORLD)
        logic = _load(cache, _LOGIC)
        batch = _load(cache, _BATCH)
    return [
        ("flight kernel compiled into an empty cache", cold, "s", "<= 60"),
        ("interpreter of sequences compiled into an empty cache", logic, "s", ""),
        ("kernel of many flights compiled into an empty cache", batch, "s", ""),
        ("flight kernel loaded from the cache", warm, "s", ""),
    ]


def _load(cache: str, module: str) -> float:
    """Time of a process that does nothing but load a kernel, compiling it if need be, s."""
    begun = time.perf_counter()
    subprocess.run(
        [sys.executable, "-c", f"import {module}"],
        check=True,
        stdout=subprocess.DEVNULL,
        env={**os.environ, "NUMBA_CACHE_DIR": cache},
    )
    return time.perf_counter() - begun


if __name__ == "__main__":
    for row in measure():
        print(*row)
