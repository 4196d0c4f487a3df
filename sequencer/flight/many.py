"""Many scenarios, flown in parallel over cores; what comes out does not depend on how many."""

from __future__ import annotations

import contextlib
import multiprocessing
from collections.abc import Callable, Iterable, Sequence
from concurrent.futures import Future, ProcessPoolExecutor, as_completed
from functools import partial
from pathlib import Path

from sequencer.compiling import lean_numba
from sequencer.errors import DrycountError, InputError, UsageError
from sequencer.flight.preparing import prepare
from sequencer.flight.result import Result
from sequencer.flight.workers import cores, end_quietly, interrupts_held_back
from sequencer.world.margins import Margin

__all__ = ["find_scenarios", "fly_many", "fly_one"]

SUFFIX = ".scenario.toml"


def find_scenarios(paths: Iterable[str | Path], keyword: str | None = None) -> list[Path]:
    """Scenario files among `paths` and in the folders among them, sorted, each once.

    keyword   keeps those whose name contains it (upper and lower case alike)

    Raises UsageError where a path does not exist, a folder holds no scenario or none is left.
    """
    found: dict[Path, None] = {}
    for given in paths:
        path = Path(given)
        if path.is_dir():
            inside = sorted(_inside(path))
            if not inside:
                raise UsageError(f"{path}: no *{SUFFIX} in this folder")
            found.update(dict.fromkeys(inside))
        elif path.is_symlink() or path.exists():  # a link to nothing is told when it is read
            if not path.name.endswith(SUFFIX):
                raise UsageError(f"{path}: not a scenario (its name must end in {SUFFIX})")
            found[path] = None
        else:
            raise InputError("no such file or folder", file=path)
    chosen = [
        path
        for path in found
        if keyword is None or keyword.lower() in path.name.removesuffix(SUFFIX).lower()
    ]
    if not chosen:
        raise UsageError(f"no scenario has '{keyword}' in its name ({len(found)} looked at)")
    return chosen


def _inside(folder: Path) -> list[Path]:
    """Scenario files anywhere in a folder. Raises InputError if it cannot be read."""
    try:
        next(folder.iterdir(), None)  # rglob passes over what it may not read
        return list(folder.rglob(f"*{SUFFIX}"))
    except OSError as error:
        raise InputError(f"cannot be read: {error.strerror or error}", file=folder) from None


def fly_one(
    path: Path,
    on: str,
    executor: str,
    announce: Callable[[str], None] | None = None,
    *,
    flight: int = 0,
    seed: int | None = None,
    shares: Sequence[float] | None = None,
) -> Result:
    """Fly one scenario file; whatever keeps it from flying becomes the result's `error`.

    announce, flight, seed, shares   as in `fly_many`
    """
    # late: looking for scenarios needs neither numba nor pydantic
    from sequencer.scenario import compare, dispersed, load_scenario  # noqa: PLC0415
    from sequencer.vehicle import Vehicle  # noqa: PLC0415
    from sequencer.world.margins import firing_margins  # noqa: PLC0415

    name = path.name.removesuffix(SUFFIX)
    try:
        scenario = load_scenario(path)
        prepare(announce, executor)
        from sequencer.flight.loop import fly  # noqa: PLC0415

        if flight or seed is not None:
            scenario = dispersed(scenario, flight, seed, shares)
        record = fly(scenario, on=on, executor=executor)
        margins: tuple[Margin, ...] = ()
        if isinstance(scenario.source, Vehicle):
            margins = firing_margins(scenario.source, scenario.params)
    except InputError as error:
        return Result(name, path, "", None, error=str(error))
    shortfalls = compare(scenario.expect, record)
    return Result(name, path, scenario.reason, record, shortfalls, margins=margins)


def _any_readable(files: Iterable[Path]) -> bool:
    """Whether there is anything to compile the kernel for."""
    from sequencer.scenario import load_scenario  # noqa: PLC0415 - as in fly_one

    for path in files:
        with contextlib.suppress(InputError):
            load_scenario(path)
            return True
    return False


def fly_many(
    paths: Sequence[str | Path],
    *,
    keyword: str | None = None,
    jobs: int | None = None,
    on: str = "model",
    executor: str = "compiled",
    flight: int = 0,
    seed: int | None = None,
    shares: Sequence[float] | None = None,
    progress: Callable[[Result], None] | None = None,
    announce: Callable[[str], None] | None = None,
) -> list[Result]:
    """Fly all scenarios that `paths` name; results in the order of `find_scenarios`.

    jobs       worker processes; by default as many as there are cores, at most one per scenario
    flight     number of a flight of a campaign; 0: each scenario as it stands
    seed       of all chance; by default each scenario's own
    shares     of that flight for the scenario's dispersions; None: drawn plainly
    progress   called with each result as it is ready, in any order
    announce   called with one line when something takes long (compiling the flight kernel)

    Raises UsageError for paths, targets or executors that cannot be used.
    """
    from sequencer.flight.target import check_target  # noqa: PLC0415 - as in fly_one

    files = find_scenarios(paths, keyword)
    if jobs is not None and jobs < 1:
        raise UsageError(f"--jobs must be at least 1, not {jobs}")
    check_target(on, executor)
    workers = min(len(files), jobs or cores())
    if workers == 1 or not _any_readable(files):
        results = []
        for path in files:
            result = fly_one(path, on, executor, announce, flight=flight, seed=seed, shares=shares)
            if progress is not None:
                progress(result)
            results.append(result)
        return results
    prepare(announce, executor)
    one = partial(_fly_in_worker, on=on, executor=executor, flight=flight, seed=seed, shares=shares)
    return _in_parallel(files, workers, one, progress)


def _in_parallel(
    files: Sequence[Path],
    workers: int,
    one: Callable[[Path], Result],
    progress: Callable[[Result], None] | None,
) -> list[Result]:
    # spawn: a forked copy of a process that has compiled kernels can hang
    context = multiprocessing.get_context("spawn")
    by_path: dict[Path, Result] = {}
    pool = ProcessPoolExecutor(workers, context, initializer=end_quietly)
    try:
        with interrupts_held_back():  # which the workers inherit while they start
            waiting: dict[Future[Result], Path] = {pool.submit(one, path): path for path in files}
        for future in as_completed(waiting):
            result = future.result()
            by_path[waiting[future]] = result
            if progress is not None:
                progress(result)
    except DrycountError:
        pool.shutdown(wait=False, cancel_futures=True)
        raise
    except KeyboardInterrupt:
        pool.shutdown(wait=False, cancel_futures=True)
        raise
    pool.shutdown()
    return [by_path[path] for path in files]


def _fly_in_worker(
    path: Path,
    *,
    on: str,
    executor: str,
    flight: int,
    seed: int | None,
    shares: Sequence[float] | None,
) -> Result:
    with lean_numba():
        return fly_one(path, on, executor, flight=flight, seed=seed, shares=shares)
