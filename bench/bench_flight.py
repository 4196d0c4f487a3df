"""Flights: one and all of them from the command line, and one against a flight in plain Python.

The plain flight (bench/peer) is of the same vehicle under the same sequences, and both are flown in
this process in turn, so that a busy machine slows both alike. It leaves out the booster, once that
has left, and everything that a record is for; so it has the lighter work. Where the two touch down
is part of the measurement: a ratio counts only if both fly the same flight.
"""

from __future__ import annotations

import math
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

import peer

from sequencer.errors import InternalError
from sequencer.flight.loop import fly
from sequencer.scenario import load_scenario
from sequencer.scenario.starter import demo_folder

Row = tuple[str, float, str, str]

_START = "import sys; from sequencer.cli.main import main; sys.exit(main(sys.argv[1:]))"


def measure() -> list[Row]:
    """Whole commands in s, the ratio of the two flights, and how far apart they touch down."""
    folder = demo_folder()
    calm = folder / "calm_landing.scenario.toml"
    count = len(list(folder.glob("*.scenario.toml")))
    _command(calm)  # warms every cache
    return [
        ("fly one scenario, whole command", min(_command(calm) for _ in range(5)), "s", "<= 2"),
        (
            f"fly all {count} demo scenarios, 2 at a time, for each 30 of them",
            min(_command(folder, "--jobs", "2") for _ in range(2)) * 30 / count,
            "s",
            "<= 15",
        ),
        *_against_peer(calm),
    ]


def _command(*arguments: str | Path) -> float:
    """Time that `drycount fly` takes with these arguments, s; it may find shortfalls."""
    begun = time.perf_counter()
    done = subprocess.run(
        [sys.executable, "-c", _START, "fly", *map(str, arguments)],
        check=False,
        capture_output=True,
        text=True,
    )
    took = time.perf_counter() - begun
    if done.returncode not in {0, 1}:
        raise InternalError(f"drycount fly ended with {done.returncode}: {done.stderr[-500:]}")
    return took


def _against_peer(path: Path) -> list[Row]:
    scenario = peer.quiet(load_scenario(path))
    record, other = fly(scenario), peer.fly(scenario)
    down, facts = other.touchdown, record.facts
    if down is None or "flight_s" not in facts:
        raise InternalError("the calm flight did not come down")
    apart = math.hypot(
        facts["touchdown_east_m"] - down.east_m, facts["touchdown_north_m"] - down.north_m
    )
    ours, theirs = [], []
    for _ in range(5):
        ours.append(_timed(lambda: fly(scenario)))
        theirs.append(_timed(lambda: peer.fly(scenario)))
    return [
        ("the calm flight in this process", min(ours), "s", ""),
        ("the same in plain Python (SciPy's RK45)", min(theirs), "s", ""),
        ("plain Python flight against ours", min(theirs) / min(ours), "times", ">= 1"),
        # the twin knows its touchdown to the tick in whose step it came
        ("touchdowns differ in time by", 1e3 * abs(facts["flight_s"] - down.time_s), "ms", "<= 10"),
        ("touchdowns differ in place by", apart, "m", "<= 0.1"),
    ]


def _timed(run: Callable[[], object]) -> float:
    begun = time.perf_counter()
    run()
    return time.perf_counter() - begun


if __name__ == "__main__":
    for row in measure():
        print(*row)
