"""Many flights of one scenario: the loop against the batch kernel, and what a second thread gains.

All fly the same dispersed flights, with their records and verdicts. The rounds take turns, and the
best of each counts, so that a busy machine slows all alike.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterable
from functools import partial

from sequencer.flight.batch import fly_flights
from sequencer.flight.loop import fly
from sequencer.record import FlightRecord
from sequencer.scenario import dispersed, load_scenario
from sequencer.scenario.starter import demo_folder

Row = tuple[str, float, str, str]

_FLIGHTS = range(1, 21)
_ROUNDS = 3
_SEED = 1


def measure() -> list[Row]:
    """Flights per second, and their ratios."""
    scenario = load_scenario(demo_folder() / "breeze.scenario.toml")
    flights = [dispersed(scenario, number, _SEED) for number in _FLIGHTS]
    ways: dict[str, Callable[[], Iterable[FlightRecord]]] = {
        "loop": partial(map, fly, flights),
        "one": partial(fly_flights, flights, 1),
        "two": partial(fly_flights, flights, 2),
    }
    for _ in fly_flights(flights[:1]):  # loads what has to be loaded
        pass
    rates = dict.fromkeys(ways, 0.0)
    for _ in range(_ROUNDS):
        for name, way in ways.items():
            rates[name] = max(rates[name], len(flights) / _timed(way))
    return [
        ("flights through the loop", rates["loop"], "1/s", ""),
        ("flights through the batch kernel", rates["one"], "1/s", ""),
        ("the same on two threads", rates["two"], "1/s", ""),
        ("batch kernel against the loop", rates["one"] / rates["loop"], "times", ">= 3"),
        ("gain from the second thread", rates["two"] / rates["one"], "times", ""),
    ]


def _timed(way: Callable[[], Iterable[FlightRecord]]) -> float:
    begun = time.perf_counter()
    for _ in way():  # none is kept
        pass
    return time.perf_counter() - begun


if __name__ == "__main__":
    for row in measure():
        print(*row)
