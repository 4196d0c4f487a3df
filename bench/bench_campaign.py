"""What a flight of a campaign costs, and what memory a campaign takes, as it gets longer.

Flown by the command itself, `drycount campaign`, in a process of its own. The scenario is the first
tenth of a second of the count: flights cost next to nothing there, so that whatever a campaign adds
to them weighs most. One process flies and keeps them (`--jobs 1`). What counts is its processor
time, less that of a campaign of a few flights, which is what it takes to begin; and its memory at
its largest. Short campaigns are flown before and after the long ones, and their mean counts: a long
campaign is a mean over minutes too.

Takes ten minutes or so, so `make bench` leaves it out; `make bench-many` runs it.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path
from statistics import mean
from typing import NamedTuple

from sequencer.errors import InternalError
from sequencer.scenario.starter import demo_folder

Row = tuple[str, float, str, str]

#: run only where it is asked for by name
BY_NAME_ONLY = True

_FEW, _SHORT, _LONGER, _LONG = 20, 1_000, 10_000, 100_000
_REPEATS = 5
_START = "import sys; from sequencer.cli.main import main; sys.exit(main(sys.argv[1:]))"
_SCENARIO = """\
[scenario]
extends = "breeze.scenario.toml"
title = "The first moments of the count"
reason = "a flight that costs next to nothing shows what a campaign adds to it"
covers = { fault = "weather", phase = "any" }
requirements = []
stop_s = 0.1

[[requirements]]
name = "stands in light wind"
reason = "something to be judged"
pattern = "universality"
condition = "mast_wind_m_s < 1.0"

[expect]
outcome = "on_pad"
"""


class _Cost(NamedTuple):
    """Of one campaign: processor time, s; memory at its largest, MiB."""

    processor_s: float
    memory_mib: float


def measure() -> list[Row]:
    """Costs per flight and memory at several lengths, and their ratios."""
    with tempfile.TemporaryDirectory() as folder:
        demo = Path(folder) / "scenarios"
        shutil.copytree(demo_folder(), demo)
        path = demo / "moments.scenario.toml"
        path.write_text(_SCENARIO, encoding="utf-8")
        _campaign(path, _FEW)  # warms every cache
        starts, shorts = [], []
        longer = long = _Cost(0.0, 0.0)
        for half in range(2):
            for _ in range(_REPEATS):
                starts.append(_campaign(path, _FEW).processor_s)
                shorts.append(_campaign(path, _SHORT).processor_s)
            if half == 0:
                longer, long = _campaign(path, _LONGER), _campaign(path, _LONG)
    begin = mean(starts)
    short = (mean(shorts) - begin) / (_SHORT - _FEW)
    costs = {
        _SHORT: short,
        _LONGER: (longer.processor_s - begin) / (_LONGER - _FEW),
        _LONG: (long.processor_s - begin) / (_LONG - _FEW),
    }
    return [
        ("a campaign of next to no flights, processor time", begin, "s", ""),
        *((f"cost per flight of {n:,}", 1e3 * each, "ms", "") for n, each in costs.items()),
        (f"cost per flight, {_LONG:,} against {_SHORT:,}", costs[_LONG] / short, "", "<= 1.05"),
        (f"memory of {_LONGER:,} flights", longer.memory_mib, "MiB", ""),
        (f"memory of {_LONG:,} flights", long.memory_mib, "MiB", ""),
        (
            f"memory, {_LONG:,} against {_LONGER:,}",
            long.memory_mib / longer.memory_mib,
            "",
            "<= 1.2",
        ),
    ]


def _campaign(path: Path, flights: int) -> _Cost:
    out = path.parent.parent / f"campaign-{flights}"
    shutil.rmtree(out, ignore_errors=True)
    given = ["campaign", path, "--flights", flights, "--seed", 1, "--jobs", 1, "--out", out]
    with (path.parent / "said").open("w+b") as said:
        process = subprocess.Popen(
            [sys.executable, "-c", _START, *map(str, given)], stdout=said, stderr=said
        )
        _, status, used = os.wait4(process.pid, 0)
        process.returncode = os.waitstatus_to_exitcode(status)
        if process.returncode != 0:
            said.seek(0)
            tail = said.read()[-500:].decode(errors="replace")
            raise InternalError(f"drycount campaign ended with {process.returncode}: {tail}")
    return _Cost(used.ru_utime + used.ru_stime, used.ru_maxrss / 1024.0)


if __name__ == "__main__":
    for row in measure():
        print(*row)
