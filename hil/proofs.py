"""One flight on firmware held against the same flight on the model, and many of them at a time.

What is compared on every tick is the target's business (`sequencer/flight/beside.py`). Here the
whole records are held against each other once more, events and samples, so that nothing hangs on
that comparison alone.
"""

from __future__ import annotations

import hashlib
import multiprocessing
from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import TypeVar

from sequencer.compiling import lean_numba
from sequencer.errors import DrycountError
from sequencer.flight.preparing import prepare
from sequencer.flight.workers import end_quietly, interrupts_held_back
from sequencer.record import FlightRecord
from sequencer.scenario import SUFFIX

__all__ = ["Flown", "Mistake", "Way", "fly_all", "fly_way", "notice_all"]

_Task = TypeVar("_Task")
_Found = TypeVar("_Found")


@dataclass(frozen=True, slots=True)
class Way:
    """What scenarios are flown on.

    on        as ``--on`` takes it
    instead   digest of a sequence -> target of the computer that executes it, where `on` would not
              do; other computers are the model's
    """

    name: str
    on: str = "model"
    instead: Mapping[str, str] | None = None

    def target(self, digests: Mapping[str, str]) -> str:
        """The target for a scenario; digests: computer -> of its sequence."""
        if self.instead is None:
            return self.on
        named = {name: self.instead.get(digest) for name, digest in digests.items()}
        return ",".join(f"{name}={on}" for name, on in named.items() if on) or "model"


@dataclass(frozen=True, slots=True)
class Flown:
    """What is kept of a flight.

    seconds     simulated
    ticks       of the clocks of the computers that were not the model
    error       one line, where it was not flown
    diverges    where a computer first did something else than the model, in one sentence
    fell_short  of what the scenario expects
    tolerance_s   of the firmware, above 0 in single precision
    fingerprint   of all events and samples
    """

    name: str
    path: Path
    seconds: float = 0.0
    ticks: int = 0
    error: str = ""
    diverges: str = ""
    fell_short: str = ""
    tolerance_s: float = 0.0
    fingerprint: str = ""

    def differs(self, model: Flown) -> str:
        """How it is not the flight on the model; empty: not at all."""
        if self.error or self.diverges:
            return self.error or self.diverges
        if self.tolerance_s == 0.0 and self.fingerprint != model.fingerprint:
            return "no tick differs from the model beside it, and yet the flight from the model's"
        return ""


@dataclass(frozen=True, slots=True)
class Mistake:
    """Firmware with a mistake that is known, and what has to be told of it.

    state, told   of the first divergence: in which state the model began the tick, and a part of
                  the sentence
    """

    name: str
    on: str
    path: Path
    time_s: float
    state: str
    told: str


def fly_way(path: Path, way: Way) -> Flown:
    """One scenario, one way; what keeps it from being flown is its `error`."""
    from sequencer.flight.loop import fly  # noqa: PLC0415 - pulls in the kernel
    from sequencer.flight.target import is_model  # noqa: PLC0415 - as above
    from sequencer.scenario import compare, load_scenario  # noqa: PLC0415 - pulls in pydantic

    name = path.name.removesuffix(SUFFIX)
    try:
        scenario = load_scenario(path)
        on = way.target({name: each.digest for name, each in scenario.sequences.items()})
        record = fly(scenario, on=on)
    except DrycountError as error:
        return Flown(name, path, error=str(error), fell_short=str(error))
    rates = [
        each.rate_hz for computer, each in scenario.sequences.items() if not is_model(on, computer)
    ]
    return Flown(
        name,
        path,
        seconds=record.ticks / record.rate_hz,
        ticks=sum(record.ticks * rate // record.rate_hz for rate in rates),
        diverges=record.divergences[0].sentence if record.divergences else "",
        fell_short="; ".join(each.what for each in compare(scenario.expect, record)),
        tolerance_s=record.tolerance_s,
        fingerprint=_fingerprint(record),
    )


def _fingerprint(record: FlightRecord) -> str:
    sums = hashlib.sha256(repr((record.ticks, record.outcome, record.events)).encode())
    for name, signal in record.signals.items():
        sums.update(name.encode())
        sums.update(signal.values.tobytes())
    return sums.hexdigest()


def _noticed(mistake: Mistake) -> str:
    """What is wrong with how a mistake was noticed; empty: nothing."""
    from sequencer.flight.loop import fly  # noqa: PLC0415 - as above
    from sequencer.scenario import load_scenario  # noqa: PLC0415 - as above

    try:
        record = fly(load_scenario(mistake.path), on=mistake.on)
    except DrycountError as error:
        return f"{mistake.name}: {error}"
    found = record.divergences[0] if record.divergences else None
    if found is None:
        return f"{mistake.name}: was not noticed"
    right = (found.tick, found.state) == (round(mistake.time_s * record.rate_hz), mistake.state)
    if not right or mistake.told not in found.sentence:
        return (
            f"{mistake.name}: was to be noticed at {mistake.time_s} s in {mistake.state}, as "
            f"'{mistake.told}'; told was: {found.sentence}"
        )
    return ""


def fly_all(paths: Sequence[Path], way: Way, jobs: int) -> list[Flown]:
    """All scenarios one way, in their order."""
    return _in_parallel(partial(fly_way, way=way), paths, jobs)


def notice_all(mistakes: Sequence[Mistake], jobs: int) -> list[str]:
    """For each what is wrong with how it was noticed; empty: nothing."""
    return _in_parallel(_noticed, mistakes, jobs)


def _in_parallel(one: Callable[[_Task], _Found], tasks: Sequence[_Task], jobs: int) -> list[_Found]:
    prepare()
    if jobs <= 1:
        return [one(task) for task in tasks]
    context = multiprocessing.get_context("spawn")  # a fork may hang after compiling
    with ProcessPoolExecutor(jobs, context, initializer=end_quietly) as pool:
        with interrupts_held_back():  # which the workers inherit while they start
            waiting = [pool.submit(_leanly, one, task) for task in tasks]
        try:
            return [each.result() for each in waiting]
        except BaseException:
            pool.shutdown(wait=False, cancel_futures=True)
            raise


def _leanly(one: Callable[[_Task], _Found], task: _Task) -> _Found:
    with lean_numba():
        return one(task)
