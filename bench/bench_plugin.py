"""What a flight costs more as a test of pytest than in `drycount fly`.

Both fly the same scenarios one after the other, as whole commands; what they need to start is taken
off by flying one scenario as well. The rounds take turns, and the best of each counts.
"""

from __future__ import annotations

import math
import subprocess
import sys
import time
from pathlib import Path

from sequencer.errors import InternalError
from sequencer.scenario.starter import demo_folder

Row = tuple[str, float, str, str]

_MANY = 31
_ROUNDS = 3
_FLY = "import sys; from sequencer.cli.main import main; sys.exit(main(sys.argv[1:]))"
_COMMANDS = {
    "fly": ["-c", _FLY, "fly", "--jobs", "1"],
    "pytest": ["-m", "pytest", "-q", "-p", "no:cacheprovider", "-p", "no:xdist"],
}


def measure() -> list[Row]:
    """Time per flight of both, and their ratio."""
    files = sorted(demo_folder().glob("*.scenario.toml"))[:_MANY]
    few, many = files[:1], files
    best = {(name, len(some)): math.inf for name in _COMMANDS for some in (few, many)}
    for _ in range(_ROUNDS):
        for some in (few, many):
            for name, command in _COMMANDS.items():
                took = _timed([*command, *map(str, some)], few[0].parent)
                best[name, len(some)] = min(best[name, len(some)], took)
    each = {name: (best[name, len(many)] - best[name, 1]) / (len(many) - 1) for name in _COMMANDS}
    return [
        ("a flight more in 'drycount fly'", 1e3 * each["fly"], "ms", ""),
        ("a flight more under pytest", 1e3 * each["pytest"], "ms", ""),
        ("a flight under pytest against 'fly'", each["pytest"] / each["fly"], "times", "<= 1.1"),
    ]


def _timed(arguments: list[str], folder: Path) -> float:
    begun = time.perf_counter()
    done = subprocess.run(
        [sys.executable, *arguments], check=False, capture_output=True, text=True, cwd=folder
    )
    took = time.perf_counter() - begun
    if done.returncode not in {0, 1}:
        raise InternalError(f"{arguments[1]} ended with {done.returncode}: {done.stderr[-500:]}")
    return took


if __name__ == "__main__":
    for row in measure():
        print(*row)
