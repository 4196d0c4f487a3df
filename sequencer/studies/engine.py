"""Flies a campaign on an existing engine: a Dask scheduler and its workers (extra `dask`).

A worker of another platform would give flights that differ in their last bits: it is told of and
gets nothing to do. What a worker was doing that is gone is done by another.
"""

from __future__ import annotations

import contextlib
import functools
import importlib
import logging
import math
import threading
import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from sequencer.errors import UsageError
from sequencer.flight.batch.jit import prepare as prepare_batch
from sequencer.flight.preparing import prepare
from sequencer.scenario import Scenario
from sequencer.studies.platforms import different, platform_here
from sequencer.studies.shards import SHARD

__all__ = ["Answer", "Engine"]

#: a task should take this long: much more than a scheduler spends on one
_TASK_S = 0.5
_CONNECT_S = 10.0
#: how often it is looked whether workers have come or gone
_LOOK_S = 2.0
#: an engine without any worker is given up after
_PATIENCE_S = 60.0

Rows = dict[str, list[Any]]


class Engine(contextlib.AbstractContextManager["Engine"]):
    """A connection to a scheduler, for the flights of one scenario.

    address   such as "tcp://127.0.0.1:8786"
    announce  is told of workers that cannot be used

    Raises UsageError where nothing answers, the packages are missing, or no worker fits.
    """

    def __init__(
        self, scenario: Scenario, address: str, announce: Callable[[str], None] | None = None
    ) -> None:
        for package in ("distributed", "cloudpickle"):
            try:
                importlib.import_module(package)
            except ImportError:
                what = f"--scheduler needs '{package}': the extra 'dask' has it"
                raise UsageError(what) from None
        import cloudpickle  # noqa: PLC0415 - an extra
        from distributed import Client  # noqa: PLC0415

        # of what ends here we tell ourselves, in one line
        logging.getLogger("distributed").setLevel(logging.CRITICAL)
        self._announce = announce or (lambda _: None)
        self._scenario = cloudpickle.dumps(scenario)
        self._fits: dict[str, bool] = {}
        self._had = False  # a worker that fits
        self._looked = -math.inf
        connect: Any = Client  # its types know none of its arguments
        try:
            self.client: Any = connect(address, timeout=_CONNECT_S, set_as_default=False)
        except (OSError, ValueError, TypeError) as error:  # a timeout is an OSError
            raise UsageError(f"{address}: no scheduler answers ({error})") from None
        self.size = 1
        try:
            self.workers()
        except BaseException:
            self.close()
            raise

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        """Leave the engine; what it has not begun for us is dropped."""
        self.client.close()

    @property
    def ahead(self) -> int:
        """Tasks that should be under way at any time."""
        return 3 * len(self.workers()) + 1

    def workers(self) -> list[str]:
        """Addresses of the workers of this platform; waits for one if there is none.

        Raises UsageError where none comes.
        """
        deadline = time.monotonic() + (_PATIENCE_S if self._had else _CONNECT_S)
        while True:
            if time.monotonic() - self._looked > _LOOK_S:
                with _told_if_gone():
                    self._look()
                self._looked = time.monotonic()
            fitting = [worker for worker, fits in self._fits.items() if fits]
            if fitting:
                self._had = True
                return fitting
            if self._fits and not self._had:
                raise UsageError("no worker of the engine is of this platform")
            if time.monotonic() > deadline:
                raise UsageError("the engine has no workers to fly on; what is on disk is kept")
            time.sleep(0.2)

    def _look(self) -> None:
        known = self.client.scheduler_info(n_workers=-1)
        if "workers" not in known:  # the client has given its scheduler up
            raise ConnectionError
        present = set(known["workers"])
        self._fits = {worker: fits for worker, fits in self._fits.items() if worker in present}
        new = sorted(present - self._fits.keys())
        if not new:
            return
        found = self.client.run(_platform, workers=new, on_error="return")
        for worker, there in found.items():
            if isinstance(there, dict):
                why = different(platform_here(), there)
            else:  # it has none of our modules, or has just gone
                why = f"{type(there).__name__}: {there}".splitlines()[0]
            self._fits[worker] = why is None
            if why is not None:
                self._announce(f"worker {worker} is left out: {why}")

    def submit(self, flights: range, seed: int, shares: Sequence[Sequence[float]] | None) -> Answer:
        """Ask for a range of flights."""
        return Answer(self, (flights, seed, shares))

    def send(self, task: tuple[Any, ...]) -> tuple[Any, list[str]]:
        """Dask's future for a task, and the workers that may do it."""
        with _told_if_gone():
            workers = self.workers()
            future = self.client.submit(
                _fly, self._scenario, platform_here(), *task, workers=workers, pure=False
            )
        return future, workers

    def learn(self, flights: int, spent_s: float) -> None:
        """From what a task has taken: how many flights a task should have."""
        self.size = max(1, min(SHARD, math.ceil(_TASK_S * flights / max(spent_s, 1e-3))))


@dataclass(slots=True)
class Answer:
    """What will come of a task."""

    engine: Engine
    task: tuple[Any, ...]
    _sent: tuple[Any, list[str]] | None = None

    def __post_init__(self) -> None:
        self._sent = self.engine.send(self.task)

    def result(self) -> Rows:
        """Its rows. Raises UsageError where workers die of it, or there are none left."""
        with _told_if_gone():
            return self._result()

    def _result(self) -> Rows:
        from distributed import KilledWorker  # noqa: PLC0415 - an extra

        while True:
            future, workers = self._sent or self.engine.send(self.task)
            try:
                rows, spent_s = future.result(timeout=_LOOK_S)
            except KilledWorker:
                raise UsageError(
                    "one worker after the other was ended by the same task (out of memory?); what "
                    "is on disk is kept: the same command goes on from there"
                ) from None
            except TimeoutError:
                # all that could have done it have gone: others have come, or will
                if not set(workers) & set(self.engine.workers()):
                    future.cancel()
                    self._sent = self.engine.send(self.task)
                continue
            if rows is None:
                raise UsageError("a worker has changed its platform while it flew")
            self.engine.learn(len(self.task[0]), spent_s)
            found: Rows = rows
            return found


@contextlib.contextmanager
def _told_if_gone() -> Iterator[None]:
    """Turn what a lost connection ends in into one line."""
    from distributed import CancelledError  # noqa: PLC0415 - an extra

    try:
        yield
    except (CancelledError, OSError):
        raise UsageError(
            "the engine has gone; what is on disk is kept: the same command goes on from there"
        ) from None


# in a worker

_one_at_a_time = threading.Lock()


def _platform() -> dict[str, str]:
    return platform_here()


@functools.lru_cache(2)
def _unpacked(packed: bytes) -> Scenario:
    import cloudpickle  # noqa: PLC0415 - an extra

    scenario: Scenario = cloudpickle.loads(packed)
    return scenario


def _fly(
    packed: bytes,
    wanted: dict[str, str],
    flights: range,
    seed: int,
    shares: Sequence[Sequence[float]] | None,
) -> tuple[Rows | None, float]:
    """Rows, and the time that the flights took, s; no rows on another platform."""
    if different(wanted, platform_here()) is not None:
        return None, 0.0
    with _one_at_a_time:  # a worker may have threads; its processes are what uses the cores
        prepare()
        prepare_batch()
        from sequencer.studies.flying import fly_range  # noqa: PLC0415 - loads the kernel

        scenario = _unpacked(packed)
        started = time.perf_counter()
        rows = fly_range(scenario, flights, seed, shares)
        return rows, time.perf_counter() - started
