"""How long a user waits for the first words of the command line."""

from __future__ import annotations

import statistics
import subprocess
import sys
import time


def measure() -> list[tuple[str, float, str, str]]:
    """The median of 15 starts, s."""
    command = [
        sys.executable,
        "-c",
        "import sys; from sequencer.cli.main import main; sys.exit(main(['--help']))",
    ]
    times = []
    for _ in range(15):
        begun = time.perf_counter()
        subprocess.run(command, check=True, stdout=subprocess.DEVNULL)
        times.append(time.perf_counter() - begun)
    return [("drycount --help", statistics.median(times), "s", "<= 0.3")]
