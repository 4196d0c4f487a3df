"""How long the very first command waits for the flight kernel to be compiled."""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
import time


def measure() -> list[tuple[str, float, str, str]]:
    """One compilation into an empty cache, and one start with it filled, s."""
    with tempfile.TemporaryDirectory() as cache:
        cold, warm = _load_kernel(cache), _load_kernel(cache)
    return [
        ("flight kernel compiled into an empty cache", cold, "s", "<= 60"),
        ("flight kernel loaded from the cache", warm, "s", ""),
    ]


def _load_kernel(cache: str) -> float:
    """Time of a process that does nothing but load the kernel, compiling it if need be, s."""
    begun = time.perf_counter()
    subprocess.run(
        [sys.executable, "-c", "import sequencer.world.kernel"],
        check=True,
        stdout=subprocess.DEVNULL,
        env={**os.environ, "NUMBA_CACHE_DIR": cache},
    )
    return time.perf_counter() - begun


if __name__ == "__main__":
    for row in measure():
        print(*row)
