"""Whole flights on the batch kernel against plain Python and against C.

Ours is always the whole, as campaigns fly it: world, logic of both computers, crew, messages,
records (without signals), and the verdicts of all requirements. What it is measured against does
less, and the rows say so. All fly in this process in turn, so that a busy machine slows all alike;
what counts is the processor time that this thread got, and of each the least. Where a plain flight
touches down is part of the measurement: a ratio counts only if both fly the same flight.
"""

from __future__ import annotations

import math
import sys
import time
from collections.abc import Callable
from functools import partial
from unittest.mock import patch

import cpeer
import peer

from sequencer.errors import InternalError
from sequencer.flight.batch import fly_flights, flying
from sequencer.record import FlightRecord
from sequencer.scenario import Scenario, dispersed, load_scenario
from sequencer.scenario.starter import demo_folder

Row = tuple[str, float, str, str]

#: of ours, so that what is done once for many weighs as in many
_FLIGHTS = 20
_ROUNDS = 9
_PLAIN_ROUNDS = 3
_SEED = 1


def measure() -> list[Row]:
    """Ratios of times, and how far apart flights touch down."""
    folder = demo_folder()
    calm = peer.quiet(load_scenario(folder / "calm_landing.scenario.toml"))
    rows = _against_plain(calm)
    if cpeer.find_compiler() is None:
        print("no C compiler (cc): whole flights are not measured against C", file=sys.stderr)
        return rows
    breeze = load_scenario(folder / "breeze.scenario.toml")
    return rows + _against_c(dispersed(breeze, 1, _SEED))


def _against_plain(scenario: Scenario) -> list[Row]:
    (record,) = fly_flights([scenario])
    steps = int(scenario.params["substeps"])
    times: dict[str, list[float]] = {"ours": [], "same": [], "long": []}
    flown: dict[str, peer.PeerFlight] = {}
    for _ in range(_PLAIN_ROUNDS):
        times["ours"] += [_ours(scenario) for _ in range(3)]
        for name, pieces in (("same", steps), ("long", 1)):
            begun = time.thread_time()
            flown[name] = peer.fly(scenario, steps=pieces)
            times[name].append(time.thread_time() - begun)
    ours, same, long = (min(each) for each in times.values())
    return [
        ("a whole calm flight, batch kernel", ours, "s", ""),
        (f"the same in plain Python, steps as ours ({steps} a tick)", same, "s", ""),
        ("the same in plain Python, steps as long as it likes", long, "s", ""),
        ("plain Python against ours, step for step", same / ours, "times", ">= 200"),
        ("plain Python against ours, steps as long as it likes", long / ours, "times", ""),
        *(_apart(record, flown[name], words) for name, words in _PLAIN.items()),
    ]


_PLAIN = {"same": "step for step", "long": "steps as long as it likes"}


def _apart(record: FlightRecord, other: peer.PeerFlight, words: str) -> Row:
    down, facts = other.touchdown, record.facts
    if down is None or "flight_s" not in facts:
        raise InternalError("the calm flight did not come down")
    apart = math.hypot(
        facts["touchdown_east_m"] - down.east_m, facts["touchdown_north_m"] - down.north_m
    )
    return f"touchdowns differ in place by, {words}", apart, "m", "<= 0.1"


def _against_c(scenario: Scenario) -> list[Row]:
    step, turns = cpeer.CStep(), cpeer.turns_of(scenario)
    whole = cpeer.CFlight(scenario, turns, step)

    def world() -> None:
        step.run(cpeer.CWorld(scenario.params, step).memory, turns.commands)

    def logic() -> None:
        _, told = whole.fly()
        if told != turns.told:
            raise InternalError("the logic in C did something else than ours")

    ways: dict[str, Callable[[], float]] = {
        "ours": partial(_ours, scenario),
        "kernel": partial(_kernel, scenario),
        "world": partial(_timed, world),
        "logic": partial(_timed, logic),
    }
    best = dict.fromkeys(ways, math.inf)
    for _ in range(_ROUNDS):
        for name, way in ways.items():
            best[name] = min(best[name], way())
    ours, kernel, logic_s = best["ours"], best["kernel"], best["logic"]
    return [
        ("a whole dispersed flight, batch kernel, with record and verdicts", ours, "s", ""),
        ("the kernel's share of it: world, logic, crew, messages, events", kernel, "s", ""),
        ("its world steps alone, in C", best["world"], "s", ""),
        ("its world steps and ticks of logic, in C", logic_s, "s", ""),
        ("world and logic: our kernel against C", logic_s / kernel, "times", ">= 0.7"),
        ("whole flight with requirements against C without", logic_s / ours, "times", ">= 0.7"),
        (
            "whole flight with requirements against C's world alone",
            best["world"] / ours,
            "times",
            "",
        ),
    ]


def _kernel(scenario: Scenario) -> float:
    """Processor time of one flight within the kernel, s."""
    spent: list[float] = []
    fly_whole, *given = flying._load()  # noqa: SLF001 - looks into our own kernel

    def timed(*arguments: object) -> int:
        begun = time.thread_time()
        ended = fly_whole(*arguments)
        spent.append(time.thread_time() - begun)
        return ended

    with patch.object(flying, "_load", lambda: (timed, *given)):
        for _ in fly_flights([scenario] * _FLIGHTS, whole=False):
            pass
    return sum(spent) / len(spent)


def _ours(scenario: Scenario) -> float:
    """Processor time of one flight, s."""

    def several() -> None:
        for _ in fly_flights([scenario] * _FLIGHTS, whole=False):
            pass

    return _timed(several) / _FLIGHTS


def _timed(way: Callable[[], None]) -> float:
    begun = time.thread_time()
    way()
    return time.thread_time() - begun


if __name__ == "__main__":
    for row in measure():
        print(*row)
