"""All scenarios on firmware, beside the model: python -m hil.proving [PATH ...]

Without --on it is what the sequences are exported as, built here: programs of this host, machine
code on an emulated core and on an emulated board; and for the demo the flight computer written by
hand, with mistakes that have to be noticed. With --on it is yours:

    python -m hil.proving scenarios --on flight=exec:build/flight --on flight=core:build/flight.elf

A flight passes if every computer does on every tick what the model does and, in double precision,
nothing else in the whole record differs from the flight on the model either. Exit status 0: all
passed; 1: some did not; 2: bad input or usage. What lacks a tool is left out, loudly; under
DRYCOUNT_NO_SKIP=1 it fails.
"""

from __future__ import annotations

import argparse
import os
import sys
import time
from collections.abc import Callable, Sequence
from functools import partial
from pathlib import Path
from typing import Final

from hil.proofs import Flown, Mistake, Way, fly_all, notice_all
from sequencer.errors import DrycountError
from sequencer.flight.target import check_target, one_at_a_time
from sequencer.flight.workers import cores
from sequencer.scenario.finding import find_scenarios
from sequencer.scenario.starter import demo_folder

__all__ = ["Table", "main"]

Say = Callable[[str], None]

#: failures that are told in full
_TOLD: Final = 20


class Table:
    """What was flown, counted: one row for each way of flying the scenarios."""

    def __init__(self, say: Say) -> None:
        self.passed = 0
        self.failed = 0
        self._say = say
        self._rows: list[tuple[str, ...]] = []

    def add(self, name: str, flown: Sequence[Flown], wrong: Sequence[str], took_s: float) -> None:
        """A row; `wrong` has a line for each of `flown` that did not pass."""
        self.count(len(flown), wrong)
        seconds, ticks = sum(each.seconds for each in flown), sum(each.ticks for each in flown)
        numbers = (len(flown), f"{seconds:.0f}", ticks or "-", len(wrong), f"{took_s:.0f}")
        self._rows.append((name, *map(str, numbers)))

    def count(self, things: int, wrong: Sequence[str]) -> None:
        """Count things of which some did not pass, and tell these."""
        self.passed += things - len(wrong)
        self.failed += len(wrong)
        for line in wrong[:_TOLD]:
            self._say(f"FAILED {line}")
        if len(wrong) > _TOLD:
            self._say(f"FAILED {len(wrong) - _TOLD} more like these")

    def print(self) -> None:
        """The table, and the closing line."""
        heads = ("flown on", "scenarios", "simulated s", "ticks compared", "differ", "took s")
        rows = [heads, *self._rows]
        widths = [max(len(row[at]) for row in rows) for at in range(len(heads))]
        for row in rows:
            cells = [row[0].ljust(widths[0]), *map(str.rjust, row[1:], widths[1:])]
            self._say("  ".join(cells).rstrip())
        self._say(f"{self.passed} passed, {self.failed} failed")


def prove(paths: Sequence[Path], ways: Sequence[Way], table: Table, *, jobs: int, say: Say) -> None:
    """Fly the scenarios on the model, then every way; rows go into the table.

    Raises UsageError for a target that cannot be used at all.
    """
    for way in ways:
        check_target(way.on, "compiled")
    model, took_s = _timed(partial(fly_all, paths, Way("model"), jobs))
    wrong = [f"model, {each.name}: {each.fell_short}" for each in model if each.fell_short]
    table.add("model", model, wrong, took_s)
    known = {each.path: each for each in model}
    for way in ways:
        say(f"{way.name}: {len(paths)} scenarios ...")
        workers = 1 if one_at_a_time(way.on) else jobs
        flown, took_s = _timed(partial(fly_all, paths, way, workers))
        found = ((each.name, each.differs(known[each.path])) for each in flown)
        wrong = [f"{way.name}, {name}: {why}" for name, why in found if why]
        table.add(way.name, flown, wrong, took_s)


def notice(mistakes: Sequence[Mistake], table: Table, *, jobs: int, say: Say) -> None:
    """Fly firmware with mistakes, which have to be noticed where they begin."""
    say(f"mistakes that have to be noticed: {len(mistakes)} ...")
    found = notice_all(mistakes, jobs)
    table.count(len(mistakes), [line for line in found if line])


def _timed(work: Callable[[], list[Flown]]) -> tuple[list[Flown], float]:
    start = time.monotonic()
    return work(), time.monotonic() - start


def _say(line: str) -> None:
    print(line, flush=True)  # noqa: T201 - a command


def main(words: Sequence[str] | None = None) -> int:
    """The command line."""
    parser = argparse.ArgumentParser(
        prog="python -m hil.proving",
        description=__doc__,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("paths", nargs="*", type=Path, metavar="PATH", help="default: the demo")
    parser.add_argument("--on", action="append", metavar="TARGET", help="as drycount fly takes it")
    parser.add_argument("--only", action="append", metavar="WORD", help="of the demo's firmware")
    parser.add_argument("-k", dest="keyword", metavar="WORD", help="scenarios whose name holds it")
    parser.add_argument("--jobs", type=int, default=cores(), metavar="N")
    parser.add_argument("--build", type=Path, default=Path("build", "firmware"), metavar="DIR")
    asked = parser.parse_args(words)
    table = Table(_say)
    try:
        paths = find_scenarios(asked.paths or [demo_folder()], asked.keyword)
        if asked.on:
            prove(paths, [Way(on, on) for on in asked.on], table, jobs=asked.jobs, say=_say)
        else:
            _demo(paths, asked.only or [], asked.build, table, asked.jobs)
    except DrycountError as error:
        parser.exit(2, f"{parser.prog}: {error}\n")
    table.print()
    return 1 if table.failed else 0


def _demo(
    paths: Sequence[Path], only: Sequence[str], folder: Path, table: Table, jobs: int
) -> None:
    from hil.demo_firmware import build_demo  # noqa: PLC0415 - users' firmware needs none of it

    built = build_demo(paths, folder, only)
    lacking = [f"{name} is left out: {why}" for name, why in built.left_out.items()]
    if os.environ.get("DRYCOUNT_NO_SKIP") == "1":
        table.count(len(lacking), lacking)
    else:
        for line in lacking:
            _say(f"LEFT OUT {line}")
    prove(paths, built.ways, table, jobs=jobs, say=_say)
    if built.mistakes:
        notice(built.mistakes, table, jobs=jobs, say=_say)


if __name__ == "__main__":
    sys.exit(main())
