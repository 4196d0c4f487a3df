"""Many scenarios, flown in parallel over cores; what comes out does not depend on how many."""

from __future__ import annotations

import contextlib
import multiprocessing
from collections.abc import Callable, Iterable, Sequence
from concurrent.futures import Future, ProcessPoolExecutor, as_completed
from functools import partial
from pathlib import Path

from sequencer.compiling import lean_numba
from sequencer.errors import DrycountError, InputError, LostError, UnfitError, UsageError
from sequencer.flight.preparing import prepare
from sequencer.flight.reopening import Reopening
from sequencer.flight.result import Result
from sequencer.flight.workers import cores, end_quietly, interrupts_held_back
from sequencer.scenario import SUFFIX
from sequencer.scenario.finding import find_scenarios
from sequencer.world.margins import Margin

__all__ = ["fly_many", "fly_one"]


def fly_one(
    path: Path,
    on: str,
    executor: str,
    announce: Callable[[str], None] | None = None,
    *,
    flight: int = 0,
    seed: int | None = None,
    shares: Sequence[float] | None = None,
    watched: bool = False,
) -> Result:
    """Fly one scenario file; whatever keeps it from flying becomes the result's `error`.

    announce, flight, seed, shares, watched   as in `fly_many`
    """
    # late: looking for scenarios needs neither numba nor pydantic
    from sequencer.scenario import compare, dispersed, load_scenario  # noqa: PLC0415
    from sequencer.vehicle import Vehicle  # noqa: PLC0415
    from sequencer.world.margins import firing_margins  # noqa: PLC0415

    name = path.name.removesuffix(SUFFIX)
    try:
        scenario = load_scenario(path)
        prepare(announce, _ahead(on, executor), watched=watched)
        from sequencer.flight.loop import fly  # noqa: PLC0415
        from sequencer.flight.watching import Watch  # noqa: PLC0415

        if flight or seed is not None:
            scenario = dispersed(scenario, flight, seed, shares)
        watch = Watch() if watched else None
        record = fly(scenario, on=on, executor=executor, watch=watch)
        margins: tuple[Margin, ...] = ()
        if isinstance(scenario.source, Vehicle):
            margins = firing_margins(scenario.source, scenario.params)
    except InputError as error:
        return Result(name, path, "", None, error=str(error))
    except (LostError, UnfitError) as error:
        lost = isinstance(error, LostError)
        return Result(name, path, "", None, error=f"{path}: {error}", lost=lost)
    shortfalls = compare(scenario.expect, record)
    seen = watch.seen() if watch is not None else ()
    return Result(name, path, scenario.reason, record, shortfalls, margins=margins, seen=seen)


def _ahead(on: str, executor: str) -> str:
    """The executor that flights need: beside whatever is not the model the compiled one runs."""
    return executor if on == "model" else "compiled"


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
    watched: bool = False,
    progress: Callable[[Result], None] | None = None,
    announce: Callable[[str], None] | None = None,
) -> list[Result]:
    """Fly all scenarios that `paths` name; results in the order of `find_scenarios`.

    jobs       worker processes; by default as many as there are cores, at most one per scenario
    flight     number of a flight of a campaign; 0: each scenario as it stands
    seed       of all chance; by default each scenario's own
    shares     of that flight for the scenario's dispersions; None: drawn plainly
    watched    look at what decides: `Result.seen`. Only the compiled model can be looked into
    progress   called with each result as it is ready, in any order
    announce   called with one line when something takes long (compiling the flight kernel)

    Raises UsageError for paths, targets or executors that cannot be used. A port that was used and
    then cannot be is no reason to lose what was flown: see `Reopening`.
    """
    # late, as in fly_one
    from sequencer.flight.target import check_target, one_at_a_time  # noqa: PLC0415

    files = find_scenarios(paths, keyword)
    if jobs is not None and jobs < 1:
        raise UsageError(f"--jobs must be at least 1, not {jobs}")
    check_target(on, executor)
    if watched and (on, executor) != ("model", "compiled"):
        raise UsageError("decisions can be seen on target 'model' with executor 'compiled' only")
    alone = one_at_a_time(on)
    workers = 1 if alone else min(len(files), jobs or cores())
    one = partial(
        fly_one,
        on=on,
        executor=executor,
        flight=flight,
        seed=seed,
        shares=shares,
        watched=watched,
    )
    if workers == 1 or not _any_readable(files):
        one_here: Callable[[Path], Result] = partial(one, announce=announce)
        if alone:
            one_here = Reopening(one_here, announce)
        results = []
        for path in files:
            result = one_here(path)
            if progress is not None:
                progress(result)
            results.append(result)
        return results
    prepare(announce, _ahead(on, executor), watched=watched)
    return _in_parallel(files, workers, partial(_fly_in_worker, one=one), progress)


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


def _fly_in_worker(path: Path, *, one: Callable[[Path], Result]) -> Result:
    with lean_numba():
        return one(path)
