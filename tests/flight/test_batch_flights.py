"""The batch kernel flies what the loop flies: every event, signal, fact and verdict.

tests/test_demo.py flies every scenario of the demo both ways.
"""

from __future__ import annotations

import math
import random
import threading
from collections.abc import Iterator
from dataclasses import replace
from functools import cache
from itertools import count
from pathlib import Path
from typing import Any

import pytest
from alike import assert_same

from sequencer.checks import judge
from sequencer.errors import UsageError
from sequencer.flight import loop
from sequencer.flight.batch import fly_compiled, fly_flights
from sequencer.flight.batch.plan import batch_of
from sequencer.flight.loop import fly
from sequencer.record import Verdict
from sequencer.scenario import PlannedFault, Recording, Scenario, dispersed, load_scenario
from sequencer.scenario.trigger import Trigger

DEMO = Path(__file__).parents[2] / "scenarios"
NAMES = sorted(path.name.removesuffix(".scenario.toml") for path in DEMO.glob("*.scenario.toml"))
EVENTS = ("liftoff", "apogee", "separated", "late flight", "crew launch on", "never comes")
COMPUTER_FAULTS = {
    "reboot": (0.0, 0.0),
    "late_ticks": (0.0, 0.0),
    "clock_drift": (-9e5, 9e5),
    "logger_stall": (0.05, 2.0),
    "link_lost": (0.0, 0.0),
    "link_repeated": (0.0, 0.5),
    "link_delayed": (0.0, 0.5),
    "link_corrupted": (0.0, 0.0),
    "umbilical_pulled": (0.0, 0.0),
    "umbilical_bounces": (0.02, 2.0),
}


@cache
def scenario_of(name: str) -> Scenario:
    return load_scenario(DEMO / f"{name}.scenario.toml")


def some_trigger(chance: random.Random, scenario: Scenario) -> Trigger:
    computer = chance.choice(list(scenario.sequences))
    state = (computer, chance.choice(list(scenario.sequences[computer].states)))
    lasting = chance.choice(
        ({}, {"for_s": chance.uniform(0.0, 5.0)}, {"until": chance.choice(EVENTS)})
    )
    beginning = chance.choice(
        (
            {"at_s": chance.uniform(0.0, 30.0)},
            {"event": chance.choice(EVENTS)},
            {"state": state},
            {"state": state, "while_in": True},
            {"above_m": chance.uniform(-1.0, 100.0)},
            {"below_m": chance.uniform(0.0, 100.0)},
        )
    )
    if "while_in" in beginning:
        lasting = {}
    return Trigger(after_s=chance.choice((0.0, chance.uniform(0.0, 2.0))), **beginning, **lasting)


def some_fault(chance: random.Random, scenario: Scenario, kind: str) -> PlannedFault:
    place = "umbilical" if "umbilical" in kind else chance.choice(list(scenario.sequences))
    size = round(chance.uniform(*COMPUTER_FAULTS[kind]), chance.choice((1, 4))) or 0.1
    return PlannedFault("extra", kind, place, None, some_trigger(chance, scenario), size)


@pytest.mark.parametrize("kind", COMPUTER_FAULTS)
def test_faults_of_computers_at_random_moments(kind: str) -> None:
    chance = random.Random(f"computer {kind}")  # noqa: S311 - no secrets
    scenario = scenario_of("calm_landing")
    fault = some_fault(chance, scenario, kind)
    link = replace(scenario.link, loses=0.1, repeats=0.2)
    changed = replace(scenario, faults=(*scenario.faults, fault), link=link)
    assert_same(fly_compiled(changed), fly(changed))


def with_world_faults() -> dict[str, str]:
    """Kind of a fault in the world -> the first scenario of the demo that has one."""
    found: dict[str, str] = {}
    for name in NAMES:
        scenario = scenario_of(name)
        if not isinstance(scenario.source, Recording):
            for fault in scenario.faults:
                if fault.row is not None:
                    found.setdefault(fault.kind, name)
    return found


def test_faults_of_the_world_at_random_moments() -> None:
    """Every kind that the demo has (all but a few), each at one moment drawn for it."""
    kinds = with_world_faults()
    assert len(kinds) >= 25
    for kind, name in kinds.items():
        chance = random.Random(f"world {kind}")  # noqa: S311 - no secrets
        scenario = scenario_of(name)
        faults = [
            replace(fault, trigger=some_trigger(chance, scenario)) for fault in scenario.faults
        ]
        changed = replace(scenario, faults=tuple(faults))
        assert_same(fly_compiled(changed), fly(changed))


def test_more_events_and_letters_than_there_is_room_for_at_first() -> None:
    """A computer that misses every tick for 30 s: thousands of events, hundreds of letters."""
    scenario = scenario_of("calm_landing")
    hangs = PlannedFault("hangs", "late_ticks", "flight", None, Trigger(at_s=0.5, for_s=30.0))
    changed = replace(scenario, faults=(hangs,))
    record = fly_compiled(changed)
    assert sum(event.kind == "late" for event in record.events) == 30 * 100
    assert_same(record, fly(changed))


def test_a_drift_that_no_whole_numbers_hold_is_flown_by_the_loop() -> None:
    scenario = scenario_of("calm_landing")
    fault = PlannedFault("d", "clock_drift", "flight", None, Trigger(at_s=1.0), 1e-14 + math.pi)
    changed = replace(scenario, faults=(fault,), stop_ticks=300)
    assert batch_of(changed) is None
    assert_same(fly_compiled(changed), fly(changed))


def test_many_flights_on_any_number_of_threads() -> None:
    """In order, each as it is alone; those of a series without end only as far as asked for."""
    scenario = scenario_of("breeze")
    alone = [fly(dispersed(scenario, number, 7)) for number in range(1, 6)]

    def flights() -> Iterator[Scenario]:
        return (dispersed(scenario, number, 7) for number in count(1))

    for threads in (1, 2, 3):
        found = fly_flights(flights(), threads)
        for one, other in zip(found, alone, strict=False):
            assert_same(one, other)
    assert len({record.facts["apogee_m"] for record in alone}) >= 4


@pytest.mark.parametrize(("threads", "whole", "most"), [(1, True, 1), (1, False, 4), (2, True, 5)])
def test_flights_are_taken_as_they_are_needed(threads: int, whole: bool, most: int) -> None:
    """One by one where nothing else was asked for: the next may depend on the last record."""
    scenario = replace(scenario_of("breeze"), stop_ticks=50)
    taken = 0

    def flights() -> Iterator[Scenario]:
        nonlocal taken
        for number in count(1):
            taken += 1
            yield dispersed(scenario, number, 7)

    next(fly_flights(flights(), threads, whole=whole))
    assert taken == most


def test_threads_leave_plans_and_verdicts_to_the_caller(monkeypatch: pytest.MonkeyPatch) -> None:
    """Two that judge at once would hand the interpreter's lock to and fro all the time."""
    scenario = scenario_of("breeze")
    judges: set[int] = set()

    def told(*given: Any, **named: Any) -> tuple[Verdict, ...]:
        judges.add(threading.get_ident())
        return judge(*given, **named)

    monkeypatch.setattr(loop, "judge", told)
    flights = [dispersed(scenario, number, 7) for number in range(1, 6)]
    assert len(list(fly_flights(flights, 3, whole=False))) == 5
    assert judges == {threading.get_ident()}


def test_threads_end_with_what_goes_wrong_among_the_flights() -> None:
    """As where Ctrl-C comes while records are waited for: no thread flies on."""
    scenario = scenario_of("breeze")

    def flights() -> Iterator[Scenario]:
        yield from (dispersed(scenario, number, 7) for number in range(1, 9))
        raise KeyboardInterrupt

    before = threading.active_count()
    records = fly_flights(flights(), 2, whole=False)
    next(records)
    with pytest.raises(KeyboardInterrupt):
        list(records)
    assert threading.active_count() == before


def test_flights_without_signals_come_to_the_same() -> None:
    """Of several scenarios in turn: each uses the memory of the one before it again."""
    breeze = scenario_of("breeze")
    flights = [
        dispersed(breeze, 1, 7),
        replace(dispersed(breeze, 2, 7), stop_ticks=700),
        scenario_of("landing_igniter_late"),
        scenario_of("replay_calm"),
        dispersed(breeze, 3, 7),
    ]
    statuses = set()
    for scenario, lean in zip(flights, fly_flights(flights, whole=False), strict=True):
        whole = fly(scenario)
        assert dict(lean.signals) == {}
        assert (lean.events, lean.ticks, lean.outcome) == (whole.events, whole.ticks, whole.outcome)
        assert repr(lean.facts) == repr(whole.facts)
        unsaid = [replace(verdict, because="") for verdict in whole.verdicts]
        assert [repr(verdict) for verdict in lean.verdicts] == [repr(each) for each in unsaid]
        statuses |= {verdict.status for verdict in lean.verdicts}
    assert statuses >= {"met", "broken", "not exercised"}


def test_no_threads() -> None:
    with pytest.raises(UsageError, match="at least one thread, not 0"):
        fly_flights([scenario_of("breeze")], 0)
