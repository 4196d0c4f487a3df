"""Worker processes that look at scenarios and fly mutants; one worker alone needs no process."""

from __future__ import annotations

import contextlib
import multiprocessing
from collections.abc import Iterable, Iterator, Mapping, Sequence
from concurrent.futures import Future, ProcessPoolExecutor, as_completed
from concurrent.futures.process import BrokenProcessPool
from dataclasses import dataclass
from pathlib import Path
from typing import TypeVar

from sequencer.compiling import lean_numba
from sequencer.errors import InputError, UsageError
from sequencer.flight.workers import end_quietly, interrupts_held_back
from sequencer.studies.mutants.baseline import Baseline
from sequencer.studies.mutants.flying import Suite, Which
from sequencer.studies.mutants.making import mutants_of
from sequencer.studies.mutants.model import Mutant
from sequencer.studies.mutants.ordering import order_for
from sequencer.studies.mutants.results import Found

__all__ = ["Baselines", "Crew", "Group", "Look"]

_Task = TypeVar("_Task")
Baselines = dict[str, Baseline]


@dataclass(frozen=True, slots=True)
class Look:
    """Asks for the key of a scenario."""

    path: Path


@dataclass(frozen=True, slots=True)
class Group:
    """Asks for mutants of one part to be flown, one after the other.

    known    of each mutant, in order: its id and what earlier runs found
    suite    all scenarios by their keys
    wanted   how many killers of each
    """

    known: tuple[Found, ...]
    suite: Mapping[str, Which]
    baselines: Baselines
    wanted: int


class Crew(contextlib.AbstractContextManager["Crew"]):
    """Does tasks for one sequence.

    folder   that all workers share for what computers are given
    """

    def __init__(self, sequence: Path, folder: Path, workers: int) -> None:
        self._opened = (sequence, folder)
        self._workers = workers
        self._pool: ProcessPoolExecutor | None = None

    def __exit__(self, *_: object) -> None:
        if self._pool is not None:
            self._pool.shutdown(wait=False, cancel_futures=True)

    def look(self, paths: Iterable[Path]) -> Iterator[tuple[Path, str | None]]:
        """Keys of scenarios, None for those that do not fly the sequence; in any order."""
        for task, key in self._do([Look(path) for path in paths]):
            yield task.path, key  # type: ignore[misc]

    def baselines(self, scenarios: Iterable[Which]) -> Iterator[tuple[Which, Baseline]]:
        """Unchanged flights, in any order."""
        yield from self._do(list(scenarios))  # type: ignore[misc]

    def fly(self, groups: Iterable[Group]) -> Iterator[list[Found]]:
        """What comes out of groups of mutants, in any order."""
        for _, found in self._do(list(groups)):
            yield found  # type: ignore[misc]

    def _do(self, tasks: Sequence[_Task]) -> Iterator[tuple[_Task, object]]:
        if self._workers == 1:
            _open(*self._opened)
            for task in tasks:
                yield task, _do(task)
            return
        if self._pool is None:
            # spawn: a forked copy of a process that has compiled kernels can hang
            self._pool = ProcessPoolExecutor(
                self._workers,
                multiprocessing.get_context("spawn"),
                initializer=_open_worker,
                initargs=self._opened,
            )
        try:
            with interrupts_held_back():  # which the workers inherit while they start
                waiting: dict[Future[object], _Task] = {
                    self._pool.submit(_do, task): task for task in tasks
                }
            for future in as_completed(waiting):
                yield waiting[future], future.result()
        except BrokenProcessPool:
            raise UsageError(
                "a worker was ended from outside (out of memory?); what is done is kept: the same "
                "command goes on from there"
            ) from None


# in a worker


@dataclass(slots=True)
class _Bench:
    """What a worker has before it."""

    opened: tuple[Path, Path]
    suite: Suite
    mutants: dict[str, Mutant] | None = None


_bench: _Bench | None = None


def _open_worker(sequence: Path, folder: Path) -> None:
    end_quietly()
    with contextlib.suppress(InputError):  # told by the first task
        _open(sequence, folder)


def _open(sequence: Path, folder: Path) -> None:
    global _bench  # noqa: PLW0603 - what a worker process is for
    if _bench is None or _bench.opened != (sequence, folder):
        _bench = _Bench((sequence, folder), Suite(sequence, folder))


def _do(task: object) -> object:
    if _bench is None:
        raise UsageError("the sequence has changed while it was flown")
    with lean_numba():
        match task:
            case Look(path):
                return _bench.suite.look(path)
            case Which() as which:
                return _bench.suite.baseline(which)
            case Group() as group:
                return _fly(_bench, group)
    raise TypeError(f"no task: {task!r}")


def _fly(bench: _Bench, group: Group) -> list[Found]:
    if bench.mutants is None:
        bench.mutants = {each.id: each for each in mutants_of(bench.suite.sequence)}
    killers: dict[str, int] = {}
    found = []
    for known in group.known:
        mutant = bench.mutants[known.id]
        seen = {*known.lived, *known.same, *known.killers}
        order = [key for key in order_for(mutant, group.baselines, killers) if key not in seen]
        new = Found(mutant.id)
        missing = group.wanted - len(known.killers)
        if missing > 0:
            new = bench.suite.fly(mutant, [group.suite[key] for key in order], wanted=missing)
        for key in {**known.killers, **new.killers}:
            killers[key] = killers.get(key, 0) + 1
        found.append(new)
    return found
