"""Flies a campaign: what is missing of it, in worker processes, until it is over or good enough."""

from __future__ import annotations

import contextlib
import importlib
import math
import multiprocessing
import tempfile
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import Future, ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from dataclasses import dataclass
from multiprocessing.connection import Connection
from pathlib import Path
from typing import TYPE_CHECKING, Any

from sequencer.compiling import lean_numba
from sequencer.errors import InputError, UsageError
from sequencer.flight.batch.jit import prepare as prepare_batch
from sequencer.flight.preparing import prepare
from sequencer.flight.workers import cores, end_quietly, interrupts_held_back
from sequencer.scenario import Scenario, load_scenario
from sequencer.studies.columns import columns_of
from sequencer.studies.sampling import Design
from sequencer.studies.shards import SHARD, Shards
from sequencer.studies.summary import Summary, summarise, widest

if TYPE_CHECKING:
    from sequencer.studies.engine import Answer, Engine

__all__ = ["CONFIDENCE", "LOOKS", "fly_campaign", "looks"]

CONFIDENCE = 0.95
#: a campaign that may stop early looks at most so often whether it can
LOOKS = 5
#: flights of one task: some seconds of work
_TASK = 10

#: called with the number of flights that have been flown
Progress = Callable[[int], None]


@dataclass(frozen=True, slots=True)
class _Task:
    """What a worker is asked for."""

    flights: range
    seed: int
    shares: list[list[float]] | None


def looks(flights: int, confidence: float = CONFIDENCE) -> list[tuple[int, float]]:
    """(flights so far, confidence of the intervals there) of a campaign that may stop early.

    The risk 1 - confidence is spent in equal parts, one at each look (Bonferroni's inequality):
    whichever look it stops at, its intervals hold together at the confidence that is asked for.
    """
    step = max(SHARD, math.ceil(flights / LOOKS / SHARD) * SHARD)
    places = [*range(step, flights, step), flights]
    each = 1.0 - (1.0 - confidence) / len(places)
    return [(place, each) for place in places]


def fly_campaign(
    path: Path,
    design: Callable[[Scenario], Design],
    *,
    folder: Path | None = None,
    until_width: float | None = None,
    jobs: int | None = None,
    scheduler: str | None = None,
    progress: Progress | None = None,
    announce: Callable[[str], None] | None = None,
) -> Summary:
    """Fly the campaign of a scenario, or what is missing of it, and sum it up.

    design       of the scenario that has been read
    folder       where its flights are kept; None: nowhere
    until_width  stop as soon as no interval of a probability is wider
    jobs         worker processes, 1: none beside this one; the table does not depend on it
    scheduler    address of a Dask scheduler whose workers fly instead

    Raises InputError for a scenario that cannot be used, UsageError for one without dispersions, a
    folder that cannot be written, or where a package is missing.
    """
    for package in ("scipy", "pyarrow"):
        try:
            importlib.import_module(package)
        except ImportError:
            what = f"campaigns need the package '{package}': the extra 'campaign' has it"
            raise UsageError(what) from None
    scenario = load_scenario(path)
    if not scenario.dispersions.each:
        raise InputError("there are no [[dispersions]]: all flights would be alike", file=path)
    plan = design(scenario)
    if until_width is not None and plan.sampling != "plain":
        raise UsageError("--until-width needs plain sampling: a design is even only as a whole")
    stages = [(plan.flights, CONFIDENCE)]
    if until_width is not None:
        stages = looks(plan.flights)
    with contextlib.ExitStack() as stack:
        if folder is None:
            folder = Path(stack.enter_context(tempfile.TemporaryDirectory(prefix="drycount-")))
        shards = stack.enter_context(Shards(folder, plan, scenario.hashes, columns_of(scenario)))
        crew = _crew(scenario, jobs, scheduler, announce)
        stack.enter_context(crew)
        shown = 0
        for look, (flights, confidence) in enumerate(stages, 1):
            missing = list(shards.missing(flights))
            if progress is not None:  # what was there before
                progress(flights - sum(len(each) for each in missing) - shown)
                shown = flights
            crew.fly(shards, missing, progress)
            stopped = (look, len(stages))
            if until_width is not None and (
                flights == plan.flights or widest(shards, flights, confidence) <= until_width
            ):
                break
        return summarise(shards, scenario, flights, confidence, stopped)


def _crew(
    scenario: Scenario,
    jobs: int | None,
    scheduler: str | None,
    announce: Callable[[str], None] | None,
) -> _Crew:
    if scheduler is not None:
        from sequencer.studies.engine import Engine  # noqa: PLC0415 - an extra

        return _Crew(scenario, 0, Engine(scenario, scheduler, announce))
    with lean_numba():
        prepare(announce)
        prepare_batch(announce)
    return _Crew(scenario, jobs or cores(), None)


class _Crew(contextlib.AbstractContextManager["_Crew"]):
    """Worker processes, started when there is something to fly; one alone needs none.

    Or the workers of an engine.
    """

    def __init__(self, scenario: Scenario, workers: int, engine: Engine | None) -> None:
        self._engine = engine
        self._scenario = scenario
        self._workers = workers
        self._pool: ProcessPoolExecutor | None = None
        self._leash: Connection | None = None

    def __exit__(self, failed: type[BaseException] | None, *_: object) -> None:
        if self._pool is not None:
            # nobody waits for what workers are doing, unless they are done
            self._pool.shutdown(wait=failed is None, cancel_futures=True)
        if self._leash is not None:
            self._leash.close()
        if self._engine is not None:
            self._engine.close()

    def fly(self, shards: Shards, missing: Sequence[range], progress: Progress | None) -> None:
        """Fly ranges and keep each as soon as it is whole; a few tasks are ahead of that."""
        waiting: list[tuple[_Task, Future[dict[str, list[Any]]] | Answer]] = []
        tasks = self._tasks(shards.design, missing)
        try:
            for shard in missing:
                rows: dict[str, list[Any]] = {}
                done = 0
                while done < len(shard):
                    while len(waiting) < self._ahead():
                        task = next(tasks, None)
                        if task is None:
                            break
                        waiting.append((task, self._submit(task)))
                    task, future = waiting.pop(0)
                    for name, values in future.result().items():
                        rows.setdefault(name, []).extend(values)
                    done += len(task.flights)
                    if progress is not None:
                        progress(len(task.flights))
                shards.write(shard, rows)
        except BrokenProcessPool:
            raise UsageError(
                "a worker was ended from outside (out of memory?); what is on disk is kept: the "
                "same command goes on from there"
            ) from None

    def _tasks(self, design: Design, missing: Sequence[range]) -> Iterator[_Task]:
        for shard in missing:
            first = shard.start
            while first < shard.stop:
                size = _TASK if self._engine is None else self._engine.size
                flights = range(first, min(first + size, shard.stop))
                first = flights.stop
                shares = [each for each in map(design.shares, flights) if each is not None]
                yield _Task(flights, design.seed, shares or None)

    def _ahead(self) -> int:
        """Tasks that are under way at a time."""
        return 2 * self._workers + 1 if self._engine is None else self._engine.ahead

    def _submit(self, task: _Task) -> Future[dict[str, list[Any]]] | Answer:
        if self._engine is not None:
            return self._engine.submit(task.flights, task.seed, task.shares)
        if self._workers == 1:
            done: Future[dict[str, list[Any]]] = Future()
            done.set_result(_fly(self._scenario, task))
            return done
        if self._pool is not None:
            return self._pool.submit(_fly_task, task)
        # spawn: a forked copy of a process that has compiled kernels can hang
        context = multiprocessing.get_context("spawn")
        theirs, self._leash = context.Pipe(duplex=False)
        self._pool = ProcessPoolExecutor(
            self._workers,
            context,
            initializer=_open,
            initargs=(self._scenario.path, dict(self._scenario.hashes), theirs),
        )
        with interrupts_held_back():  # which the workers inherit while they start
            return self._pool.submit(_fly_task, task)


_held: Scenario | None = None


def _open(path: Path, hashes: dict[str, str], leash: Connection) -> None:
    """In a worker: read the scenario once."""
    global _held  # noqa: PLW0603 - what a worker process is for
    end_quietly(leash)
    with contextlib.suppress(InputError):  # told by the first task
        scenario = load_scenario(path)
        if dict(scenario.hashes) == hashes:
            _held = scenario


def _fly_task(task: _Task) -> dict[str, list[Any]]:
    if _held is None:
        raise UsageError("the files of the scenario have changed while it was flown")
    return _fly(_held, task)


def _fly(scenario: Scenario, task: _Task) -> dict[str, list[Any]]:
    with lean_numba():
        from sequencer.studies.flying import fly_range  # noqa: PLC0415 - loads the kernel

        return fly_range(scenario, task.flights, task.seed, task.shares)
