"""Mutants of the demo's flight sequence: flown in full by the batch kernel, and found out at all,
against the loop with the reference executor.

All fly the same mutants through the same scenario, with records and verdicts. The rounds take
turns, and the best of each counts.
"""

from __future__ import annotations

import tempfile
import time
from dataclasses import replace
from pathlib import Path
from types import MappingProxyType

from sequencer.execute.recording import prepare
from sequencer.flight.batch import fly_flights
from sequencer.flight.loop import fly
from sequencer.scenario import Scenario, compare, load_scenario
from sequencer.scenario.starter import demo_folder
from sequencer.sequence import Sequence
from sequencer.studies.mutants import mutants_of
from sequencer.studies.mutants.flying import Suite, Which

Row = tuple[str, float, str, str]

_SCENARIO = "planned_recovery"
#: every so manieth mutant
_STEP = 31
#: of these the reference flies only a few
_BY_REFERENCE = 2
_ROUNDS = 2


def measure() -> list[Row]:
    """Mutants per second, and the ratio."""
    prepare()
    folder = demo_folder()
    path = folder / f"{_SCENARIO}.scenario.toml"
    with tempfile.TemporaryDirectory() as shared:
        suite = Suite(folder / "flight.sequence.toml", Path(shared))
        which = Which(_SCENARIO, path, suite.look(path) or "")
        suite.baseline(which)
        mutants = mutants_of(suite.sequence)[::_STEP]
        scenario = load_scenario(path)
        flights = [_changed(scenario, mutant.sequence) for mutant in mutants]
        list(fly_flights(flights[:1]))  # loads what has to be loaded
        suite.fly(mutants[0], [which])
        rates = dict.fromkeys(("reference", "kernel", "found"), 0.0)
        for _ in range(_ROUNDS):
            begun = time.perf_counter()
            for flight in flights[:_BY_REFERENCE]:
                compare(flight.expect, fly(flight, executor="reference"))
            rates["reference"] = max(rates["reference"], _rate(_BY_REFERENCE, begun))
            begun = time.perf_counter()
            for flight, record in zip(flights, fly_flights(flights), strict=True):
                compare(flight.expect, record)
            rates["kernel"] = max(rates["kernel"], _rate(len(flights), begun))
            begun = time.perf_counter()
            for mutant in mutants:
                suite.fly(mutant, [which])
            rates["found"] = max(rates["found"], _rate(len(mutants), begun))
    return [
        ("mutants through the loop, reference executor", rates["reference"], "1/s", ""),
        ("mutants flown by the batch kernel", rates["kernel"], "1/s", ""),
        ("mutants, flown only where something differs", rates["found"], "1/s", ""),
        ("kernel against reference", rates["kernel"] / rates["reference"], "times", ""),
        ("mutants against reference", rates["found"] / rates["reference"], "times", ">= 20"),
    ]


def _rate(count: int, begun: float) -> float:
    return count / (time.perf_counter() - begun)


def _changed(scenario: Scenario, logic: Sequence) -> Scenario:
    sequences = {**scenario.sequences, "flight": logic}
    return replace(scenario, sequences=MappingProxyType(sequences))


if __name__ == "__main__":
    for row in measure():
        print(*row)
