"""The long comparison of the compiled executor with the reference: `make soak`.

    python -m sequencer.testing.soak --pairs 100000
    python -m sequencer.testing.soak --only 4711

compares pairs of a random sequence and a random stream, numbered from 0, in worker processes. What
has been compared is kept in a small file, so that a run that was ended at any moment goes on where
it stopped; another version of what is compared, or of how, starts again. A pair is fully given by
the seed and its number.
"""

from __future__ import annotations

import itertools
import multiprocessing
import sys
import time
from collections.abc import Callable, Iterator
from concurrent.futures import Future, ProcessPoolExecutor
from importlib.metadata import version
from pathlib import Path
from random import Random

import click

import sequencer
from sequencer.execute.jit import prepare
from sequencer.flight.workers import cores, end_quietly, interrupts_held_back
from sequencer.going_on import Progress, hash_of
from sequencer.testing.agreement import first_difference
from sequencer.testing.streams import Ride, random_ride

__all__ = ["compare_pairs", "main", "pair"]

#: pairs of one task, about a second of work
_TASK = 50
_PROGRESS_S = 10.0
_FILE = "progress.json"
_SOURCES = ("expressions.py", "execute/*.py", "sequence/model.py", "testing/*.py")

Say = Callable[[str], None]
#: what is wrong with a pair, or None
Compare = Callable[[Ride], str | None]


def pair(seed: int, number: int) -> Ride:
    """Pair `number` of a seed."""
    return random_ride(Random(f"{seed} {number}"))  # noqa: S311 - nothing to keep secret


def compare_pairs(
    pairs: int, seed: int, folder: Path, jobs: int, say: Say, compare: Compare = first_difference
) -> bool:
    """Compare the pairs that `folder` does not know as compared; False at the first that differs.

    jobs     worker processes; 1: this one
    compare  a function that a worker can import
    """
    progress = Progress(folder / _FILE, {"seed": seed, "sources": _sources()})
    done = progress.read(say)
    if done:
        say(f"{min(done, pairs)} of {pairs} pairs have been compared; going on from there")
    tasks = [range(at, min(at + _TASK, pairs)) for at in range(done, pairs, _TASK)]
    shown = time.monotonic()
    for task, found in _run(tasks, seed, min(jobs, len(tasks)), compare):
        if found is not None:
            number, what = found
            say(f"pair {number} differs: {what}")
            say(f"alone: python -m sequencer.testing.soak --seed {seed} --only {number}")
            return False
        progress.write(task.stop)
        if time.monotonic() - shown > _PROGRESS_S:
            shown = time.monotonic()
            say(f"{task.stop} of {pairs} pairs agree")
    say(f"{pairs} pairs of sequence and stream: every event, output and register is the same")
    return True


def _run(
    tasks: list[range], seed: int, jobs: int, compare: Compare
) -> Iterator[tuple[range, tuple[int, str] | None]]:
    """Results in the order of the tasks, a few of which are always under way."""
    if jobs <= 1:
        for task in tasks:
            yield task, _compare(task, seed, compare)
        return
    # spawn: a forked copy of a process that has compiled kernels can hang
    spawn = multiprocessing.get_context("spawn")
    pool = ProcessPoolExecutor(jobs, spawn, initializer=end_quietly)
    waiting: list[tuple[range, Future[tuple[int, str] | None]]] = []
    left = iter(tasks)
    try:
        while True:
            for task in itertools.islice(left, 2 * jobs + 1 - len(waiting)):
                with interrupts_held_back():  # which the workers inherit while they start
                    waiting.append((task, pool.submit(_compare, task, seed, compare)))
            if not waiting:
                return
            task, future = waiting.pop(0)
            yield task, future.result()
    finally:
        pool.shutdown(wait=False, cancel_futures=True)


def _compare(task: range, seed: int, compare: Compare) -> tuple[int, str] | None:
    """The first pair that differs, and how."""
    for number in task:
        try:
            what = compare(pair(seed, number))
        except Exception as error:  # noqa: BLE001 - whatever it is, it is about this pair
            what = f"{type(error).__name__}: {error}"
        if what is not None:
            return number, what
    return None


def _sources() -> str:
    """Hash of everything that decides what a pair is, and what comes of it."""
    here = Path(sequencer.__file__).parent
    files = (path for pattern in _SOURCES for path in sorted(here.glob(pattern)))
    return hash_of(files, here, version("numba"), version("transitions"))


@click.command()
@click.option("--pairs", type=click.IntRange(1), default=100_000, show_default=True)
@click.option("--seed", type=int, default=0, show_default=True)
@click.option("--jobs", type=click.IntRange(1, 256), help="Worker processes; default: all cores.")
@click.option("--folder", type=click.Path(path_type=Path), default=".soak", show_default=True)
@click.option("--only", type=click.IntRange(0), metavar="NUMBER", help="Compare one pair, alone.")
def main(*, pairs: int, seed: int, jobs: int | None, folder: Path, only: int | None) -> None:
    """Compare the compiled executor with the reference on random sequences and streams."""
    prepare(click.echo)
    if only is not None:
        found = _compare(range(only, only + 1), seed, first_difference)
        click.echo(f"pair {only}: {'the same' if found is None else found[1]}")
        sys.exit(found is not None)
    try:
        agree = compare_pairs(pairs, seed, folder, jobs or cores(), click.echo)
    except OSError as error:
        raise click.UsageError(f"{folder}: {(error.strerror or str(error)).lower()}") from None
    sys.exit(not agree)


if __name__ == "__main__":
    main()
