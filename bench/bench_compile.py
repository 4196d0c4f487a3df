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
        cold, warm = _prepare(cache), _prepare(cache)
    return [
        ("flight kernel compiled into an empty cache", cold, "s", "<= 60"),
        ("flight kernel loaded from the cache", warm, "s", ""),
    ]


def _prepare(cache: str) -> float:
    begun = time.perf_counter()
    subprocess.run(
        [sys.executable, "-m", "sequencer.world"],
        check=True,
        stdout=subprocess.DEVNULL,
        env={**os.environ, "NUMBA_CACHE_DIR": cache},
    )
    return time.perf_counter() - begun


if __name__ == "__main__":
    for row in measure():
        print(*row)
