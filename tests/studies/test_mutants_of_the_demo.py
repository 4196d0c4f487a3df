"""Mutants of the demo: what is taken for the same flight is the same flight; a few known fates."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from types import MappingProxyType

import pytest
from alike import assert_same

from sequencer.execute.tables import tables_of
from sequencer.flight.batch import fly_flights
from sequencer.scenario import compare, load_scenario
from sequencer.studies.mutants import mutants_of
from sequencer.studies.mutants.flying import Suite, Which, first_event
from sequencer.studies.mutants.making import sample
from sequencer.studies.mutants.ordering import can_show

DEMO = Path(__file__).parents[2] / "scenarios"


@pytest.fixture
def suite(tmp_path: Path) -> Suite:
    return Suite(DEMO / "flight.sequence.toml", tmp_path)


def which_of(suite: Suite, name: str) -> Which:
    path = DEMO / f"{name}.scenario.toml"
    return Which(name, path, suite.look(path) or "")


@pytest.mark.parametrize("name", ["reboot_in_count", "planned_recovery"])
def test_a_mutant_that_follows_the_recording_flies_the_same_flight(suite, name):
    which = which_of(suite, name)
    baseline = suite.baseline(which)
    recording = suite._recording(which)
    scenario = load_scenario(which.path)
    mutants = sample(mutants_of(suite.sequence), 10, len(name))
    flights = [
        replace(
            scenario,
            sequences=MappingProxyType({**scenario.sequences, "flight": mutant.sequence}),
        )
        for mutant in mutants
    ]
    records = fly_flights([scenario, *flights])
    before = next(records)
    followed = 0
    for mutant, record in zip(mutants, records, strict=True):
        differs = recording.first_difference(tables_of(mutant.sequence))
        if differs is None:
            followed += 1
            assert_same(before, record)
        else:
            assert can_show(mutant, baseline)
            assert before.events != record.events or any(
                (before[signal] != record[signal]).any() for signal in before.signals
            )
    assert 0 < followed < len(mutants)


@pytest.mark.parametrize("name", ["reboot_while_held", "key_out_after_touchdown"])
def test_where_a_mutant_is_first_looked_at_changes_nothing(suite, name):
    which = which_of(suite, name)
    baseline = suite.baseline(which)
    recording = suite._recording(which)
    began = 0
    for mutant in sample(mutants_of(suite.sequence), 150, 3):
        before = first_event(mutant.shows)
        if before is None or not can_show(mutant, baseline):
            continue
        tables = tables_of(mutant.sequence)
        assert recording.first_difference(tables, before) == recording.first_difference(tables)
        began += min(recording._begin(before[0], each) for each in before[1]) > 0
    assert began >= 10


def test_known_fates(suite):
    order = [which_of(suite, name) for name in ("reboot_in_coast", "planned_recovery")]
    for which in order:
        suite.baseline(which)
    mutants = {mutant.id: mutant for mutant in mutants_of(suite.sequence)}

    def killer(name: str) -> list[str]:
        found = suite.fly(mutants[name], order)
        return [which.name for which in order if which.key in found.killers]

    assert killer("action removed: fire main_chute ('planned recovery')") == ["planned_recovery"]
    assert killer("exit removed of 'rebooted in flight'") == ["reboot_in_coast"]
    assert killer("limit raised: battery_least") == []


def test_unchanged_scenarios_are_as_expected(suite):
    which = which_of(suite, "replay_calm")  # its messages stand in columns of the log
    baseline = suite.baseline(which)
    assert baseline.shortfall is None
    assert "landing_burn" in baseline.states
    mutant = next(m for m in mutants_of(suite.sequence) if m.id == "wrong target of 'burnt out'")
    found = suite.fly(mutant, [which])
    assert list(found.killers) == [which.key]
    assert not compare(
        load_scenario(which.path).expect, next(fly_flights([load_scenario(which.path)]))
    )
