"""Margins of firing: the table's currents against the formulas, worked from the vehicle file."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from sequencer.vehicle import load_vehicle, rewired
from sequencer.world.assemble import assemble
from sequencer.world.margins import firing_margins
from sequencer.world.weather import Weather

FILE = Path(__file__).parents[1] / "vehicle" / "minimal.vehicle.toml"


def margins(vehicle, **weather):
    params, _ = assemble(vehicle, Weather(**weather), rate_hz=100)
    return {margin.load: margin for margin in firing_margins(vehicle, params)}


@pytest.fixture(scope="module")
def vehicle():
    return load_vehicle(FILE)


def test_one_igniter_alone(vehicle):
    """12 V; 0.05 inner, 0.07 switch and connectors, 4 m of AWG 20 at 15 C, 1.5 ohm."""
    margin = margins(vehicle)["igniter_1"]
    wire = 4.0 * 0.0333083 * (1.0 + 0.00393 * (15.0 - 20.0))
    amps = 12.0 / (0.05 + 0.07 + wire + 1.5)
    assert margin.alone_a == pytest.approx(amps, rel=1e-6)
    assert margin.alone_v == pytest.approx(12.0 - 0.05 * amps, rel=1e-6)
    assert (margin.together_a, margin.together) == (margin.alone_a, 1)
    assert margin.firing_ratio == pytest.approx(amps / 0.7, rel=1e-6)
    assert margin.test_share == pytest.approx(0.002 / 0.25)
    assert not margin.is_short


def test_loads_without_figures_have_no_ratio(vehicle):
    margin = margins(vehicle)["charge"]
    assert (margin.firing_ratio, margin.test_share, margin.is_short) == (None, None, False)


def test_together_means_all_of_its_kind_on_its_computer(vehicle):
    """Two charges on two channels of the flight computer drag the battery down together."""
    two = replace(
        vehicle,
        loads={
            **vehicle.loads,
            "second": replace(vehicle.loads["charge"], name="second", channel="flight.F1"),
        },
    )
    found = margins(two)["charge"]
    assert found.together == 3  # the cutter hangs on the other charge's channel
    assert found.together_a < found.alone_a
    assert found.together_v < found.alone_v


def test_the_cold_takes_current_where_the_battery_feels_it(vehicle):
    warm, cold = margins(vehicle), margins(vehicle, temperature_offset_k=-25.0)
    assert cold["charge"].alone_a < 0.95 * warm["charge"].alone_a


def test_a_load_that_does_not_get_its_all_fire_current_is_short(vehicle):
    hungry = {
        **vehicle.loads,
        "igniter_1": replace(vehicle.loads["igniter_1"], all_fire_a=9.0),
    }
    margin = margins(replace(vehicle, loads=hungry))["igniter_1"]
    assert margin.is_short
    assert margin.firing_ratio < 1.0


def test_a_plug_moved_moves_its_margin(vehicle):
    moved = margins(rewired(vehicle, plugs={"igniter_1": "pad.P2"}))["igniter_1"]
    assert moved.channel == "pad.P2"
    assert moved.alone_a == pytest.approx(12.0 / (0.05 + 1.0 / (1.0 / 1.5 + 1.0 / 3.0) + 0.2) / 1.5)
