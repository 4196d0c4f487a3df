"""Requirement monitor: one bounded response over a long trace, against the library rtamt.

The formula is always((a >= 0.5) implies eventually[0, w](b >= 0.5)) with its margin, over 10 000
samples; rtamt evaluates it offline in discrete time (parsed beforehand), we judge a flight record
(conditions, windows, verdict and sentence included). Both margins must agree, or nothing counts.
"""

from __future__ import annotations

import time
from collections.abc import Callable

import numpy as np
import rtamt

from sequencer.checks import RequirementTable, build_requirements, judge
from sequencer.documents import Loc
from sequencer.errors import InputError, InternalError
from sequencer.record import FlightRecord, Signal

SAMPLES = 10_000
RATE_HZ = 1000


def measure() -> list[tuple[str, float, str, str]]:
    """How many times faster than rtamt, at windows of 51 and 501 samples."""
    rows = []
    for window in (51, 501):
        ours, theirs = _pair(window)
        if ours[1]() != theirs[1]():
            raise InternalError(f"margins differ at a window of {window} samples")
        ratio = _best(theirs[0], 3) / _best(ours[0], 50)
        name = f"requirement over {SAMPLES} samples, window {window}, against rtamt"
        rows.append((name, ratio, "times", ">= 300"))
    return rows


Run = tuple[Callable[[], object], Callable[[], float]]


def _pair(window: int) -> tuple[Run, Run]:
    """(run, margin) of ours and of theirs on the same random walks."""
    generator = np.random.Generator(np.random.Philox(key=window))
    a, b = (0.5 + np.cumsum(generator.normal(0, 0.05, SAMPLES)) for _ in range(2))
    a[-window:] = 0.0  # nothing is asked for so late that the answer would be cut off
    return _ours(a, b, window), _theirs(a, b, window)


def _ours(a: np.ndarray, b: np.ndarray, window: int) -> Run:
    table = RequirementTable.model_validate_json(
        '{"name": "answer", "reason": "benchmark", "pattern": "response", '
        '"when_condition": "a >= 0.5", "then_condition": "b >= 0.5", '
        f'"within_s": [0, {(window - 1) / RATE_HZ}]}}'
    )

    def error(loc: Loc, what: str, *, nearest: str | None = None) -> InputError:
        return InputError(f"{loc}: {what}", nearest=nearest)

    requirements = build_requirements([table], error, {"a": "1", "b": "1"})
    signals = {name: Signal(name, "1", values) for name, values in (("a", a), ("b", b))}
    record = FlightRecord("benchmark", RATE_HZ, SAMPLES, (), signals, "landed")

    def margin() -> float:
        found = judge(record, requirements)[0].margin
        return np.nan if found is None else found

    return lambda: judge(record, requirements), margin


def _theirs(a: np.ndarray, b: np.ndarray, window: int) -> Run:
    monitor = rtamt.StlDiscreteTimeSpecification()
    monitor.declare_var("a", "float")
    monitor.declare_var("b", "float")
    monitor.declare_var("out", "float")
    monitor.spec = f"out = always((a>=0.5) implies (eventually[0:{window - 1}](b>=0.5)))"
    monitor.parse()

    def data() -> dict[str, list[float]]:  # it may append to the lists it is given
        return {"time": list(map(float, range(SAMPLES))), "a": a.tolist(), "b": b.tolist()}

    def margin() -> float:
        return float(monitor.evaluate(data())[0][1])

    return lambda: monitor.evaluate(data()), margin


def _best(run: Callable[[], object], repeats: int) -> float:
    """Least time of a few runs, s: what the machine does when it is left alone."""
    times = []
    for _ in range(repeats):
        start = time.perf_counter()
        run()
        times.append(time.perf_counter() - start)
    return min(times)


if __name__ == "__main__":
    for row in measure():
        print(*row)
