"""What `fly -v` says about firing circuits."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from sequencer.record import Signal
from sequencer.report.circuits import print_circuits
from sequencer.world.margins import Margin

IGNITER = Margin("igniter_A1", "pad.P1", "lights", 4.5, 11.2, 3.9, 10.1, 3, 0.7, 0.25, 0.001)
WEAK = Margin("main_charge", "flight.F4", "deploys", 0.6, 7.0, 0.6, 7.0, 1, 0.7, None, 0.0)
HORN = Margin("horn", "pad.P5", "signals", 0.5, 12.0, 0.5, 12.0, 1, None, None, 0.0)


@pytest.fixture
def flown(nominal):
    """The hand-made flight with currents, voltages and margins."""
    record = nominal.record
    signals = dict(record.signals)
    for name, unit, values in (
        ("battery_pad_v", "V", [12.6, 10.125, 12.5, 12.5]),
        ("battery_pad_a", "A", [0.3, 11.5, 0.4, 0.3]),
        ("current_igniter_A1_a", "A", [0.0, 4.25, 0.0, 0.0]),
        ("current_main_charge_a", "A", [0.0] * 4),
        ("current_horn_a", "A", [0.5] * 4),
    ):
        signals[name] = Signal(name, unit, np.array(values))
    return replace(nominal, record=replace(record, signals=signals), margins=(IGNITER, WEAK, HORN))


def test_currents_margins_and_voltages_in_eighty_columns(flown, page):
    out, text = page(80)
    print_circuits(flown, out)
    lines = text().splitlines()
    assert max(len(line) for line in lines) <= 80
    rows = {line.split()[0]: " ".join(line.split()[1:]) for line in lines if line.strip()}
    assert rows["igniter_A1"] == "pad.P1 4.25 4.50 3.90 0.70 5.6 x 1.00 0.40"
    assert rows["main_charge"] == "flight.F4 0.00 0.60 - 0.70 0.9 x - -"
    assert rows["horn"] == "pad.P5 0.50 0.50 - - - - -"
    assert "short of their all-fire current: main_charge" in text()
    assert "battery of pad: lowest 10.12 V at 0.01 s, largest current 11.50 A" in text()


def test_long_names_get_a_line_of_their_own(flown, page):
    out, text = page(80)
    long = replace(IGNITER, load="igniter_A1", channel="a_computer_with_a_long_name.channel_1")
    print_circuits(replace(flown, margins=(long,)), out)
    assert max(len(line) for line in text().splitlines()) <= 80
    assert "a_computer_with_a_long_name.channel_1\n" in text()


def test_nothing_for_what_was_not_flown(failed, page):
    out, text = page(80)
    print_circuits(failed, out)
    assert text() == ""
