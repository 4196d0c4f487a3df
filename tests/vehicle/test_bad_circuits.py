"""Batteries, channels, igniters and hot wires that make no sense, each told in one line.

Every case gives the whole message, and the line where it must point.
"""

from __future__ import annotations

import pytest
from spoiling import GOOD, spoil

from sequencer.errors import InputError
from sequencer.vehicle import load_vehicle

PAD = "[computers.pad]|"
BATTERY = "[computers.flight.battery]|"
P1 = "[computers.pad.channels.P1]|"
IGNITER = "[loads.igniter_1]|"
CLAMP = "[loads.clamp]|"
CUTTER = "[loads.cutter]|"
WIRE = "[loads.cutter.hot_wire]|"
VOLTS = "[[0.0, 6.0], [0.5, 7.4], [1.0, 8.4]]"

#: header|text to replace, its replacement, text that begins the line to be named, whole message
CASES = [
    # batteries
    (
        PAD + "battery = { open_circuit_v = 12.0, resistance_ohm = 0.05 }\n",
        "",
        "[computers.pad]",
        "'battery' is missing in [computers.pad]",
    ),
    (
        PAD + "{ open_circuit_v = 12.0, resistance_ohm = 0.05 }",
        "12.0",
        "battery = 12.0",
        "'computers.pad.battery' must be a table, not 12.0",
    ),
    (
        PAD + "open_circuit_v = 12.0, ",
        "",
        "battery =",
        "a battery needs open_circuit_v, or open_circuit_v_at",
    ),
    (
        PAD + "open_circuit_v = 12.0",
        "open_circuit_v = 12.0, charge = 0.5",
        "battery =",
        "'charge' needs a table open_circuit_v_at over the charge",
    ),
    (
        PAD + "open_circuit_v = 12.0",
        "open_circuit_v = 12.0, capacity_a_h = 7.0",
        "battery =",
        "'capacity_a_h' needs a table open_circuit_v_at over the charge",
    ),
    (
        BATTERY + "charge = 0.5",
        "open_circuit_v = 7.4",
        "open_circuit_v = 7.4",
        "give either open_circuit_v or open_circuit_v_at",
    ),
    (
        BATTERY + VOLTS,
        "[[0.0, 6.0], [0.5, 7.4], [0.5, 8.4]]",
        "open_circuit_v_at",
        "points of 'open_circuit_v_at' ascend in charge, but 0.5 follows 0.5",
    ),
    (
        BATTERY + VOLTS,
        "[[0.0, 8.4], [1.0, 6.0]]",
        "open_circuit_v_at",
        "a battery's voltage does not fall as it fills, but 6 V follows 8.4 V",
    ),
    (
        BATTERY + VOLTS,
        "[]",
        "open_circuit_v_at",
        "'computers.flight.battery.open_circuit_v_at' must not be empty",
    ),
    (
        BATTERY + VOLTS,
        "[[0, 6], [0.1, 7], [0.2, 7], [0.3, 7], [0.4, 7], [0.5, 7], [0.6, 7], [0.7, 8], [1, 8]]",
        "open_circuit_v_at",
        "'computers.flight.battery.open_circuit_v_at' must have at most 8 entries, not 9",
    ),
    (
        BATTERY + VOLTS,
        "[[0.0, 6.0], [50, 7.4]]",
        "open_circuit_v_at",
        "'computers.flight.battery.open_circuit_v_at[2][1]' must be at most 1, not 50",
    ),
    (
        BATTERY + VOLTS,
        "[[0.0, 6.0, 7.4]]",
        "open_circuit_v_at",
        "'computers.flight.battery.open_circuit_v_at[1]' must have at most 2 entries, not 3",
    ),
    (
        BATTERY + VOLTS,
        "[[0.0, 6.0], [1.0]]",
        "open_circuit_v_at",
        "'computers.flight.battery.open_circuit_v_at[2]' has too few entries",
    ),
    (
        BATTERY + "charge = 0.5",
        "charge = 50",
        "charge = 50",
        "'computers.flight.battery.charge' must be at most 1, not 50",
    ),
    (
        BATTERY + "[[-20, 4.0], [20, 1.0]]",
        "[[20, 1.0], [-20, 4.0]]",
        "resistance_factor_at",
        "points of 'resistance_factor_at' ascend in temperature, but -20 follows 20",
    ),
    (
        BATTERY + "resistance_ohm = 0.1",
        "resistance_ohm = -0.1",
        "resistance_ohm = -0.1",
        "'computers.flight.battery.resistance_ohm' must be at least 0, not -0.1",
    ),
    (
        BATTERY + "brown_out_v = 4.5\n",
        "",
        "brown_out_s",
        "brown_out_s goes with a brown_out_v",
    ),
    (
        BATTERY + "brown_out_v = 4.5",
        "brown_out_v = 7.39",
        "brown_out_v",
        "brown_out_v 7.39 is not below the 7.38 V that this battery has with its computer alone",
    ),
    (
        BATTERY + "sense_factor = 1.01",
        "sense_factor = 0",
        "sense_factor = 0",
        "'computers.flight.battery.sense_factor' must be greater than 0, not 0",
    ),
    # channels
    (P1 + "wire_awg = 20\n", "", "wire_m", "'wire_m' without 'wire_awg'"),
    (P1 + "wire_m = 4.0\n", "", "wire_awg", "'wire_awg' without 'wire_m'"),
    (
        P1 + "wire_awg = 20",
        "wire_awg = 20.5",
        "wire_awg",
        "'computers.pad.channels.P1.wire_awg' must be a whole number, not 20.5",
    ),
    (
        P1 + 'closed_by = ["arm_key"]',
        'closed_by = ["arm_kye"]',
        "closed_by",
        "unknown switch 'arm_kye'; did you mean 'arm_key'?",
    ),
    (
        P1 + 'closed_by = ["arm_key"]',
        'closed_by = ["arm_key", "arm_key"]',
        "closed_by",
        "switch 'arm_key' stands in 'closed_by' already",
    ),
    (
        P1 + 'closed_by = ["arm_key"]',
        'closed_by = ["arm_key"]\nopened_by = ["arm_key"]',
        "opened_by",
        "switch 'arm_key' stands in 'closed_by' already",
    ),
    (
        P1 + "test_current_a = 0.002",
        "test_current_a = 0.03",
        "test_current_a",
        (
            "the test current of channel 'pad.P1', 0.03 A, is above a tenth of the no-fire "
            "current of 'igniter_1' (0.25 A); at most 0.025 A"
        ),
    ),
    (
        P1 + "test_current_a = 0.002",
        "test_current_a = 0.06",
        "test_current_a",
        (
            "the test current of channel 'pad.P1', 0.06 A, is above a tenth of the no-fire "
            "current of 'igniter_1' (0.25 A); at most 0.025 A"
        ),
    ),
    (
        "[computers.pad.channels.P2]|resistance_ohm = 0.2",
        "resistance_ohm = 0.2\ntest_current_a = 0.001",
        "[loads.clamp]",
        "load 'clamp' needs no_fire_a: channel 'pad.P2' has a test current",
    ),
    (
        '[computers.pad.sensors.continuity]|channel = "P1"',
        'channel = "P2"',
        'channel = "P2"',
        "channel 'P2' has no test_current_a to measure its continuity with",
    ),
    # loads
    (
        IGNITER + "all_fire_a = 0.7",
        "all_fire_a = 0.25",
        "all_fire_a",
        (
            "load 'igniter_1' always fires at 0.25 A, yet never at 0.25 A: all_fire_a is above "
            "no_fire_a"
        ),
    ),
    (
        IGNITER + "fire_energy_j = 0.01\nfire_energy_sd = 0.1\n",
        "",
        "no_fire_a",
        "'no_fire_a' needs fire_energy_j",
    ),
    (
        IGNITER + "fire_energy_j = 0.01\n",
        "",
        "fire_energy_sd",
        "'fire_energy_sd' needs fire_energy_j",
    ),
    (
        IGNITER + "fire_energy_sd = 0.1",
        "fire_energy_sd = 10",
        "fire_energy_sd",
        "'loads.igniter_1.fire_energy_sd' must be at most 0.5, not 10",
    ),
    (
        IGNITER + '"short"',
        '"shorted"',
        "after_firing",
        (
            "'loads.igniter_1.after_firing' is 'shorted', not one of 'open' or 'short'; did you "
            "mean 'short'?"
        ),
    ),
    (
        IGNITER + "fire_energy_j",
        "fire_energy_mj",
        "fire_energy_mj",
        "unknown key 'fire_energy_mj' in [loads.igniter_1]; did you mean 'fire_energy_j'?",
    ),
    (
        CLAMP + "releases = true",
        "signals = true\nafter_firing = 'open'",
        "after_firing",
        "a load that signals only conducts: it has no 'after_firing'",
    ),
    (
        CUTTER + "resistance_ohm = 1.5\n",
        "resistance_ohm = 1.5\nfire_energy_j = 0.01\n",
        "fire_energy_j",
        "'fire_energy_j' beside hot_wire: a hot wire's heat decides when it acts",
    ),
    (
        CUTTER + "resistance_ohm = 1.5\n",
        "resistance_ohm = 1.5\nno_fire_a = 0.5\n",
        "no_fire_a",
        "'no_fire_a' beside hot_wire: a hot wire's heat decides when it acts",
    ),
    (
        CUTTER + "resistance_ohm = 1.5\n",
        "resistance_ohm = 1.5\nall_fire_a = 0.6\n",
        "all_fire_a",
        "load 'cutter' always fires at 0.6 A, yet never at 0.632 A: all_fire_a is above no_fire_a",
    ),
    (
        WIRE + "burn_s = 0.02\n",
        "",
        "[loads.cutter.hot_wire]",
        "'burn_s' is missing in [loads.cutter.hot_wire]",
    ),
    (
        WIRE + "burns_at_c = 220.0",
        "burns_at_c = 20.0",
        "burns_at_c",
        "'loads.cutter.hot_wire.burns_at_c' must be at least 60, not 20.0",
    ),
    (
        WIRE + "heat_capacity_j_k = 0.002",
        "heat_capacity_j_k = 0",
        "heat_capacity_j_k",
        "'loads.cutter.hot_wire.heat_capacity_j_k' must be greater than 0, not 0",
    ),
    # servos
    (
        "[computers.flight.servos.tilt_y]|stall_a = 0.7\n",
        "",
        "moving_a",
        "servo 'tilt_y' draws 0.1 A moving, more than stalled (stall_a 0)",
    ),
]


@pytest.mark.parametrize("case", CASES, ids=[f"{n} {c[3][:40]}" for n, c in enumerate(CASES)])
def test_the_whole_line(case, tmp_path):
    change, replacement, shows_at, message = case
    text, line = spoil(("", change, replacement, shows_at, "", None))
    path = tmp_path / "bad.vehicle.toml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(InputError) as caught:
        load_vehicle(path)
    assert str(caught.value) == f"{path}:{line}: {message}"


@pytest.mark.parametrize("no_fire", ["0.25", "5.0"])
def test_fifty_milliamperes_are_the_most_whatever_hangs_there(no_fire, tmp_path):
    text = GOOD.replace("test_current_a = 0.002", "test_current_a = 0.06")
    text = text.replace("no_fire_a = 0.25\nall_fire_a = 0.7", f"no_fire_a = {no_fire}")
    if no_fire == "0.25":  # nothing hangs there
        text = text.replace('plug = "pad.P1"', 'plug = "pad.P2"')
    line = text[: text.index("test_current_a")].count("\n") + 1
    path = tmp_path / "bad.vehicle.toml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(InputError) as caught:
        load_vehicle(path)
    assert str(caught.value) == (
        f"{path}:{line}: the test current of channel 'pad.P1', 0.06 A, is above 50 mA; "
        "at most 0.05 A"
    )


#: one number of each sort, far beyond anything of this kind
ABSURD = [
    ("[parts.dart]|mass_kg = 0.4", "parts.dart.mass_kg", 1000),
    ("[parts.dart]|centre_station_m = 0.3", "parts.dart.centre_station_m", 100),
    ("[parts.dart]|axial_kg_m2 = 0.0003", "parts.dart.axial_kg_m2", 100_000),
    ("[parts.dart]|tail_station_m = 0.5", "parts.dart.tail_station_m", 100),
    ("[motors.M1]|total_impulse_n_s = 30.0", "motors.M1.total_impulse_n_s", 1_000_000),
    ("[motors.M1]|propellant_kg = 0.016", "motors.M1.propellant_kg", 1000),
    ("[parachutes.main]|drag_area_m2 = 0.3", "parachutes.main.drag_area_m2", 1000),
    ("[geometry.nose]|length_m = 0.15", "geometry.nose.length_m", 100),
    ("[aero.stack]|side_area_m2 = 0.07", "aero.stack.side_area_m2", 1000),
    ("[aero.stack]|slope_tail_m2 = 0.02", "aero.stack.slope_tail_m2", 1000),
    ("[aero.stack]|damping_pitch_m4 = 0.002", "aero.stack.damping_pitch_m4", 100_000),
    (P1 + "resistance_ohm = 0.05", "computers.pad.channels.P1.resistance_ohm", 1000),
    (P1 + "wire_m = 4.0", "computers.pad.channels.P1.wire_m", 10_000),
    (IGNITER + "resistance_ohm = 1.5", "loads.igniter_1.resistance_ohm", 100_000),
    (IGNITER + "fire_energy_j = 0.01", "loads.igniter_1.fire_energy_j", 1000),
    (BATTERY + "capacity_a_h = 0.5", "computers.flight.battery.capacity_a_h", 1000),
    (BATTERY + "draw_a = 0.2", "computers.flight.battery.draw_a", 100),
    (
        "[computers.flight.sensors.accel]|noise_m_s2 = 0.2",
        "computers.flight.sensors.accel.noise_m_s2",
        1_000_000_000,
    ),
    ("[ground]|leg_speed_m_s = 2.0", "ground.leg_speed_m_s", 1000),
    ("[ground]|mast_height_m = 2.0", "ground.mast_height_m", 100),
    ("[[ground.obstacles]]|east_m = 5.0", "ground.obstacles[1].east_m", 10_000),
]


@pytest.mark.parametrize(("place", "key", "most"), ABSURD, ids=[row[1] for row in ABSURD])
def test_numbers_that_no_vehicle_has_are_refused(place, key, most, tmp_path):
    header, old = place.split("|")
    name = old.partition(" = ")[0]
    at = GOOD.index(old, GOOD.index(header))
    text = GOOD[:at] + f"{name} = 1e308" + GOOD[at + len(old) :]
    line = GOOD.count("\n", 0, at) + 1
    path = tmp_path / "bad.vehicle.toml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(InputError) as caught:
        load_vehicle(path)
    assert str(caught.value) == f"{path}:{line}: '{key}' must be at most {most}, not 1e+308"


TINY = [
    ("[geometry.nose]|diameter_m = 0.075", "geometry.nose.diameter_m"),
    ("[parts.dart]|mass_kg = 0.4", "parts.dart.mass_kg"),
    ("[motors.M1]|burn_time_s = 2.0", "motors.M1.burn_time_s"),
    (IGNITER + "fire_energy_j = 0.01", "loads.igniter_1.fire_energy_j"),
    (IGNITER + "resistance_ohm = 1.5", "loads.igniter_1.resistance_ohm"),
    (WIRE + "heat_capacity_j_k = 0.002", "loads.cutter.hot_wire.heat_capacity_j_k"),
    (BATTERY + "capacity_a_h = 0.5", "computers.flight.battery.capacity_a_h"),
]


@pytest.mark.parametrize(("place", "key"), TINY, ids=[row[1] for row in TINY])
def test_positive_numbers_next_to_nothing_are_refused(place, key, tmp_path):
    header, old = place.split("|")
    at = GOOD.index(old, GOOD.index(header))
    text = GOOD[:at] + f"{old.partition(' = ')[0]} = 1e-300" + GOOD[at + len(old) :]
    path = tmp_path / "bad.vehicle.toml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(InputError) as caught:
        load_vehicle(path)
    line = GOOD.count("\n", 0, at) + 1
    assert str(caught.value) == f"{path}:{line}: '{key}' is too small to be meant (1e-300)"
