"""Many flights of one scenario: the loop against the batch kernel, and what a second thread gains.

All fly the same dispersed flights and judge them; the kernel does so as in a campaign, where
records keep no signals. The rounds take turns, and the best of each counts, so that a busy machine
slows all alike. What a second core can give at all is told by two processes that run the C step
(bench/cpeer) over one of these flights and share nothing.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable, Iterable
from functools import partial

import cpeer

from sequencer.flight.batch import fly_flights
from sequencer.flight.loop import fly
from sequencer.record import FlightRecord
from sequencer.scenario import Scenario, dispersed, load_scenario
from sequencer.scenario.starter import demo_folder

Row = tuple[str, float, str, str]

_FLIGHTS = range(1, 37)
_ROUNDS = 7
#: take as long as ours, so that what it takes to begin and to end weighs alike
_C_FLIGHTS = 60
_SEED = 1


def measure() -> list[Row]:
    """Flights per second, and their ratios."""
    scenario = load_scenario(demo_folder() / "breeze.scenario.toml")
    flights = [dispersed(scenario, number, _SEED) for number in _FLIGHTS]
    for _ in fly_flights(flights[:1]):  # loads what has to be loaded
        pass
    loop = max(len(flights) / _timed(lambda: _all(map(fly, flights))) for _ in range(2))
    ways: dict[str, Callable[[], None]] = {
        "one": lambda: _all(fly_flights(flights, 1, whole=False)),
        "two": lambda: _all(fly_flights(flights, 2, whole=False)),
    }
    if cpeer.find_compiler() is None:
        print("no C compiler (cc): two threads are not measured against C", file=sys.stderr)
        return _rows(len(flights), loop, _best(ways))
    with _processes(flights[0]) as processes:
        ways["C one"] = partial(processes.fly, [_C_FLIGHTS])
        ways["C two"] = partial(processes.fly, [_C_FLIGHTS // 2] * 2)
        return _rows(len(flights), loop, _best(ways))


def _processes(scenario: Scenario) -> cpeer.CProcesses:
    return cpeer.CProcesses(2, scenario.params, cpeer.commands_of(scenario))


def _best(ways: dict[str, Callable[[], None]]) -> dict[str, float]:
    """Shortest time of each, s."""
    times: dict[str, list[float]] = {name: [] for name in ways}
    for _ in range(_ROUNDS):
        for name, way in ways.items():
            times[name].append(_timed(way))
    return {name: min(each) for name, each in times.items()}


def _rows(flights: int, loop: float, best: dict[str, float]) -> list[Row]:
    rate, gain = flights / best["one"], best["one"] / best["two"]
    rows = [
        ("flights through the loop", loop, "1/s", ""),
        ("flights through the batch kernel", rate, "1/s", ""),
        ("the same on two threads", flights / best["two"], "1/s", ""),
        ("batch kernel against the loop", rate / loop, "times", ">= 3"),
        ("gain from the second thread", gain, "times", ""),
    ]
    if "C two" in best:
        bare = best["C one"] / best["C two"]
        rows += [
            ("gain from a second process, C step alone", bare, "times", ""),
            ("gain from the second thread against that", gain / bare, "times", ">= 0.95"),
        ]
    return rows


def _all(records: Iterable[FlightRecord]) -> None:
    for _ in records:  # none is kept
        pass


def _timed(way: Callable[[], None]) -> float:
    begun = time.perf_counter()
    way()
    return time.perf_counter() - begun


if __name__ == "__main__":
    for row in measure():
        print(*row)
