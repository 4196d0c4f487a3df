"""Whatever is wrong with computers, loads, wiring or the pad is told in one line."""

from __future__ import annotations

import pytest
from spoiling import refused

MORE_CHANNELS = "".join(f"X{i} = {{ resistance_ohm = 0.1 }}\n" for i in range(13))
BAROMETER = """[computers.flight.sensors.baro]
kind = "barometer"
rate_hz = 25
bay_pressure_pa = 5000.0

"""

CASES = [
    (
        "pressure in the bay without its decay",
        "[computers.flight.sensors.range]|",
        BAROMETER + "[computers.flight.sensors.range]",
        "bay_pressure_pa",
        "has 'bay_pressure_pa' but no 'bay_decay_s'",
        None,
    ),
    (
        "pressure in the bay of a rangefinder",
        "[computers.flight.sensors.range]|high_m",
        "bay_pressure_pa = 5000.0\nhigh_m",
        "bay_pressure_pa",
        "unknown key 'bay_pressure_pa'",
        None,
    ),
    (
        "third computer",
        "[loads.igniter_1]|",
        "[computers.spare.battery]\nopen_circuit_v = 5.0\nresistance_ohm = 0.1\n[loads.igniter_1]",
        "[computers.pad]",
        "3 computers, of which there may be at most 2",
        None,
    ),
    (
        "too many channels",
        "[computers.flight.channels]|F1",
        MORE_CHANNELS + "F1",
        "[computers.flight.channels]",
        "17 channels, of which there may be at most 16",
        None,
    ),
    (
        "unknown gimbal",
        '[computers.flight.servos.tilt_y]|"lower"',
        '"lowre"',
        'gimbal = "lowre"',
        "unknown gimbal 'lowre'",
        "lower",
    ),
    (
        "unknown role",
        '[computers.flight.servos.tilt_y]|"gimbal_y"',
        '"gimbal_x"',
        'role = "gimbal_x"',
        "not one of",
        "gimbal_z",
    ),
    (
        "key of another role",
        "[computers.flight.servos.fins]|rate_per_s",
        "rate_deg_s",
        "rate_deg_s = 4.0",
        "unknown key 'rate_deg_s'",
        "rate_per_s",
    ),
    (
        "two servos for one axis",
        "[computers.flight.servos.fins]|",
        (
            '[computers.flight.servos.again]\nrole = "gimbal_y"\ngimbal = "lower"\nlow_deg = -1.0\n'
            "high_deg = 1.0\nrate_deg_s = 1.0\n[computers.flight.servos.fins]"
        ),
        'role = "gimbal_y"\ngimbal = "lower"\nlow_deg = -1.0',
        "servo 'flight.tilt_y' moves gimbal_y of 'lower' already",
        None,
    ),
    (
        "servo starts beyond its end",
        "[computers.flight.servos.tilt_y]|dead_band",
        "start_deg = 9.0\ndead_band",
        "start_deg = 9.0",
        "starts outside its travel",
        None,
    ),
    (
        "unknown kind of sensor",
        '[computers.flight.sensors.gyro]|"rate"',
        '"barometr"',
        'kind = "barometr"',
        "not one of",
        "barometer",
    ),
    (
        "unit of another kind",
        "[computers.flight.sensors.accel]|noise_m_s2",
        "noise_m",
        "noise_m = 0.2",
        "unknown key 'noise_m'",
        "noise_m_s2",
    ),
    (
        "unknown axis",
        '[computers.flight.sensors.gyro]|"y"',
        '"roll"',
        'axis = "roll"',
        "not one of 'x', 'y' or 'z'",
        None,
    ),
    (
        "rate that is no whole number",
        "[computers.flight.sensors.accel]|100",
        "33.3",
        "rate_hz = 33.3",
        "must be a whole number",
        None,
    ),
    (
        "sensor range upside down",
        "[computers.flight.sensors.accel]|-150.0",
        "160.0",
        "low_m_s2 = 160.0",
        "low end above its high",
        None,
    ),
    (
        "flame of an unknown motor",
        '[computers.flight.sensors.flame]|"M2"',
        '"M3"',
        'motor = "M3"',
        "unknown motor 'M3'",
        "M2",
    ),
    (
        "continuity of another computer's channel",
        '[computers.pad.sensors.continuity]|"P1"',
        '"F1"',
        'channel = "F1"',
        "unknown channel of 'pad' 'F1'",
        "P1",
    ),
    (
        "angle of the fins",
        '[computers.flight.sensors.angle]|"tilt_y"',
        '"fins"',
        'kind = "gimbal"\nservo = "fins"',
        "its sensor is of kind 'mechanism'",
        None,
    ),
    (
        "switch twice",
        '[computers.pad]|"launch"',
        '"arm_key"',
        "switches",
        "already the name of a switch",
        None,
    ),
    (
        "switch named like a sensor",
        '[computers.pad]|"launch"',
        '"continuity"',
        "switches",
        "already the name of a sensor",
        None,
    ),
    (
        "plugged into nothing",
        '[loads.igniter_1]|"pad.P1"',
        '"pad.P9"',
        'plug = "pad.P9"',
        "unknown channel 'pad.P9'",
        "pad.P2",
    ),
    (
        "lights the unknown",
        '[loads.igniter_1]|"M1"',
        '"Ml"',
        'lights = "Ml"',
        "unknown motor 'Ml'",
        "M2",
    ),
    (
        "a load of two uses",
        "[loads.clamp]|releases = true",
        'releases = true\nlights = "M1"',
        "releases = true\nlights",
        "exactly one of",
        None,
    ),
    (
        "a load of no use",
        "[loads.clamp]|releases = true\n",
        "",
        "[loads.clamp]",
        "exactly one of lights, separates, deploys, releases, signals (got none)",
        None,
    ),
    (
        "deploys the unknown",
        '[loads.charge]|"main"',
        '"mian"',
        'deploys = "mian"',
        "unknown parachute 'mian'",
        "main",
    ),
    (
        "nothing to release",
        "[ground]|hold_down = true",
        "hold_down = false\nrail_length_m = 1.0",
        "releases = true",
        "there is no hold-down",
        None,
    ),
    (
        "wires of the unknown",
        "[wiring.flight]|[wiring.flight]",
        "[wiring.fligth]",
        "[wiring.fligth]",
        "unknown computer 'fligth'",
        "flight",
    ),
    (
        "wired to the unknown",
        '[wiring.flight]|part = "F1"',
        'part = "F7"',
        'part = "F7"',
        "unknown channel or servo of 'flight' 'F7'",
        "F2",
    ),
    (
        "wired twice to one channel",
        '[wiring.flight]|["F2", "F1"]',
        '["F2", "F2"]',
        "chute",
        "'F2' stands twice",
        None,
    ),
    (
        "wired to no channel",
        '[wiring.flight]|["F2", "F1"]',
        "[]",
        "chute",
        "wired to nothing",
        None,
    ),
    (
        "a servo among channels",
        '[wiring.flight]|["F2", "F1"]',
        '["F2", "fins"]',
        "chute",
        "a servo stands alone",
        None,
    ),
    (
        "one servo for two functions",
        "[wiring.flight]|steer",
        'also = "tilt_y"\nsteer',
        "steer",
        "already belongs to function 'also'",
        None,
    ),
    ("wired to a number", '[wiring.flight]|"F1"', "1", "part = 1", "must be text", None),
    (
        "nothing to hold it",
        "[ground]|hold_down = true",
        "hold_down = false",
        "hold_down = false",
        "needs a rail",
        None,
    ),
    (
        "legs without feet",
        "[ground]|mast",
        "leg_length_m = 0.1\nmast",
        "leg_length_m = 0.1",
        "leg_radius_m",
        None,
    ),
    (
        "speeds the wrong way round",
        "[ground]|leg_speed_m_s = 2.0",
        "leg_speed_m_s = 20.0",
        "leg_speed_m_s = 20.0",
        "above crash_speed_m_s",
        None,
    ),
]


@pytest.mark.parametrize("case", CASES, ids=[case[0] for case in CASES])
def test_one_line_with_place_and_nearest_name(case, tmp_path):
    refused(case, tmp_path)
