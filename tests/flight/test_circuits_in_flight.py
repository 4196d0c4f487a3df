"""Firing circuits in whole flights: what is recorded of them, and computers that lose power."""

from __future__ import annotations

from pathlib import Path

import numpy as np
from flying import all_at, at, fly

from sequencer.flight import fly_many


def test_currents_and_voltages_are_signals(folder: Path) -> None:
    """Three igniters at once: the battery sags, and each opens within its tick."""
    record = fly(folder, stop=14.0)
    fired = at(record, "fired pad.ascent_1")
    for name in ("A1", "A2", "A3"):
        amps = record[f"current_igniter_{name}_a"]
        assert np.flatnonzero(amps > 1.0).tolist() == [fired + 1]
    assert record["battery_pad_v"][fired + 1] < record["battery_pad_v"][fired] - 0.5
    assert record["battery_pad_a"][fired + 1] > 15.0
    assert record.signals["battery_flight_v"].unit == "V"


def test_a_requirement_can_ask_for_the_voltage(folder: Path) -> None:
    text = (
        '[[requirements]]\nname = "sag"\nreason = "so"\npattern = "universality"\n'
        'condition = "battery_pad_v > 12.2"\n'
    )
    record = fly(folder, text, stop=14.0)
    verdict = next(each for each in record.verdicts if each.requirement == "sag")
    assert verdict.status == "broken"
    assert verdict.unit == "V"


def test_a_battery_that_comes_off_takes_its_computer_down_until_it_is_back(folder: Path) -> None:
    """In coast, for 0.1 s: the computer boots with what it retained; the parachute still comes."""
    row = (
        '[[faults]]\nname = "f"\nkind = "battery_disconnected"\nplace = "flight"\n'
        'event = "entered flight.coast"\nafter_s = 0.2\nfor_s = 0.1\n'
    )
    record = fly(folder, row)
    begun, ended = at(record, "fault_begun f"), at(record, "fault_ended f")
    assert all_at(record, "brown_out flight") == [begun + 1]
    (booted,) = all_at(record, "booted flight")
    assert booted > ended
    assert record["battery_flight_v"][begun + 1] == 0.0
    assert at(record, "deployed main") > booted


def test_results_carry_the_margins_of_the_circuits(folder: Path) -> None:
    (result,) = fly_many([folder / "calm_landing.scenario.toml"], jobs=1)
    margins = {margin.load: margin for margin in result.margins}
    record = result.record
    assert set(margins) == {
        name.removeprefix("current_").removesuffix("_a")
        for name in record.signals
        if name.startswith("current_")
    }
    flown = float(record["current_igniter_L1_a"].max())
    margin = margins["igniter_L1"]
    assert 0.97 * margin.together_a < flown < 1.01 * margin.alone_a
    assert margin.firing_ratio > 1.5
    assert margin.test_share < 0.1
