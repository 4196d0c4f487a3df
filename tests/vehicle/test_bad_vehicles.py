"""Whatever is wrong with a vehicle file becomes one line: file, line, what, nearest valid name."""

from __future__ import annotations

from pathlib import Path

import pytest

from sequencer.errors import InputError
from sequencer.vehicle import load_vehicle

GOOD = (Path(__file__).parent / "minimal.vehicle.toml").read_text(encoding="utf-8")

MORE_CHANNELS = "".join(f"X{i} = {{ resistance_ohm = 0.1 }}\n" for i in range(13))
MORE_PARACHUTES = "".join(
    f"[parachutes.p{i}]\npart = 'dart'\ndrag_area_m2 = 1.0\ninflation_s = 1.0\n"
    "attach_station_m = 0.1\n"
    for i in range(4)
)

# (name, text to replace, its replacement, text that begins the line to be named, words of the
# message, nearest name). Only the first occurrence after the header given in front of "|" is
# replaced.
CASES = [
    ("unknown table", "[vehicle]|", "[vehicel]", "[vehicel]", "unknown key 'vehicel'", "vehicle"),
    ("unknown key", "[parts.dart]|mass_kg", "mas_kg", "mas_kg", "unknown key 'mas_kg'", "mass_kg"),
    (
        "missing key",
        "[parts.dart]|mass_kg = 0.4\n",
        "",
        "[parts.dart]",
        "'mass_kg' is missing",
        None,
    ),
    ("text for a number", "[parts.dart]|= 0.4", '= "0.4"', 'mass_kg = "', "must be a number", None),
    ("negative mass", "[parts.dart]|= 0.4", "= -0.4", "mass_kg = -", "greater than 0", None),
    ("nan mass", "[parts.dart]|= 0.4", "= nan", "mass_kg = nan", "finite number", None),
    (
        "bad name",
        "[parts.dart]|[parts.dart]",
        "[parts.'d rt']",
        "[parts.'d rt']",
        "letters, digits and _",
        None,
    ),
    (
        "no carrier",
        "[parts.dart]|carries_computer = true\n",
        "",
        "[parts.dart]",
        "exactly one part carries the computer",
        None,
    ),
    (
        "two carriers",
        "[parts.booster]|mass_kg",
        "carries_computer = true\nmass_kg",
        "carries_computer = true\nmass_kg = 0.3",
        "dart, booster both do",
        None,
    ),
    (
        "three parts",
        "[curves.flat]|",
        (
            "[parts.third]\nmass_kg = 1.0\ncentre_station_m = 0.1\naxial_kg_m2 = 0.1\n"
            "transverse_kg_m2 = 0.1\ntail_station_m = 1.0\n[curves.flat]"
        ),
        "[parts.dart]",
        "3 parts, of which there may be at most 2",
        None,
    ),
    (
        "centre behind tail",
        "[parts.booster]|= 0.7",
        "= 0.95",
        "centre_station_m = 0.95",
        "behind its tail_station_m",
        None,
    ),
    (
        "order of parts",
        "[parts.booster]|centre_station_m = 0.7",
        "centre_station_m = 0.2\n#",
        "tail_station_m = 0.3",
        "leaves to the rear",
        None,
    ),
    (
        "impossible inertia",
        "[parts.dart]|axial_kg_m2 = 0.0003",
        "axial_kg_m2 = 0.03",
        "axial_kg_m2 = 0.03",
        "no body has an axial inertia",
        None,
    ),
    (
        "curve starts late",
        "[curves.flat]|[[0, 0]",
        "[[1, 0]",
        "points_percent",
        "starts at [0, 0]",
        None,
    ),
    (
        "curve ends in thrust",
        "[curves.flat]|[100, 0]",
        "[100, 5]",
        "points_percent",
        "ends at [100, 0]",
        None,
    ),
    (
        "curve goes back",
        "[curves.flat]|[95, 100]",
        "[3, 100]",
        "points_percent",
        "3 % follows 5 %",
        None,
    ),
    (
        "curve of no thrust",
        "[curves.flat]|[5, 110], [95, 100]",
        "[5, 0], [95, 0]",
        "points_percent",
        "some thrust",
        None,
    ),
    (
        "curve below zero",
        "[curves.flat]|[95, 100]",
        "[95, -100]",
        "points_percent",
        "must be at least 0, not",
        None,
    ),
    (
        "curve of two",
        "[curves.flat]|[5, 110], [95, 100], ",
        "",
        "points_percent",
        "at least 3 entries, not",
        None,
    ),
    (
        "unknown part",
        '[motors.M1]|"booster"',
        '"boster"',
        'part = "boster"',
        "part 'boster'",
        "booster",
    ),
    ("unknown curve", '[motors.M1]|"flat"', '"flatt"', 'curve = "flatt"', "curve 'flatt'", "flat"),
    (
        "nozzle outside",
        "[motors.M1]|nozzle_station_m = 0.9",
        "nozzle_station_m = 1.9",
        "nozzle_station_m = 1.9",
        "behind the vehicle's tail at 0.9",
        None,
    ),
    (
        "grain behind nozzle",
        "[motors.M2]|grain_station_m = 0.45",
        "grain_station_m = 0.55",
        "grain_station_m = 0.55",
        "lies behind its nozzle",
        None,
    ),
    ("no burn time", "[motors.M1]|= 2.0", "= 0", "burn_time_s = 0", "greater than 0", None),
    (
        "plugged and ejecting",
        "[motors.M1]|plugged = true",
        "plugged = true\neject_delay_s = 3.0",
        "eject_delay_s = 3.0",
        "is plugged and has no 'eject_delay_s'",
        None,
    ),
    (
        "neither plugged nor ejecting",
        "[motors.M1]|plugged = true\n",
        "",
        "[motors.M1]",
        "needs plugged = true",
        None,
    ),
    (
        "ejects the unknown",
        '[motors.M2]|"parachute main"',
        '"parachute mian"',
        'ejects = "parachute mian"',
        "unknown thing to eject",
        "parachute main",
    ),
    (
        "gimbal across parts",
        "[motors.M2]|nozzle",
        'gimbal = "lower"\nnozzle',
        'gimbal = "lower"\nnozzle_station_m = 0.5',
        "cannot carry motors of two parts",
        None,
    ),
    (
        "parachute on the unknown",
        '[parachutes.main]|"dart"',
        '"drat"',
        'part = "drat"',
        "unknown part 'drat'",
        "dart",
    ),
    (
        "too many parachutes",
        "[geometry.nose]|",
        MORE_PARACHUTES + "[geometry.nose]",
        "[parachutes.main]",
        "5 parachutes, of which there may be at most 4",
        None,
    ),
    (
        "nose of an unknown shape",
        '[geometry.nose]|"ogive"',
        '"ogiv"',
        'shape = "ogiv"',
        "not one of 'cone' or 'ogive'",
        "ogive",
    ),
    (
        "ogive too short",
        "[geometry.nose]|0.15",
        "0.03",
        "length_m = 0.03",
        "at least as long as half its diameter",
        None,
    ),
    (
        "no slope and no shape",
        '[geometry.nose]|[geometry.nose]\nshape = "ogive"\nlength_m = 0.15\ndiameter_m = 0.075\n',
        "",
        "[aero.stack]",
        "'slope_nose_m2' is missing in [aero.stack]",
        None,
    ),
    (
        "slope without centre",
        "[aero.stack]|slope_tail",
        "slope_nose_m2 = 0.01\nslope_tail",
        "slope_nose_m2 = 0.01",
        "give both",
        None,
    ),
    (
        "shape given twice",
        "[aero.stack]|slope_tail",
        "slope_nose_m2 = 0.01\ncentre_nose_m = 0.4\nslope_tail",
        "[geometry.nose]",
        "already",
        None,
    ),
    (
        "a configuration that never comes",
        "[aero.fins_out]|[aero.fins_out]",
        "[aero.legs_out]",
        "[aero.stack]",
        "'fins_out' is missing",
        None,
    ),
    (
        "no servo for the legs",
        "[computers.pad]|",
        "[aero.legs_out]\n"
        + "".join(
            f"{k} = 0.1\n"
            for k in (
                "drag_area_nose_m2",
                "drag_area_tail_m2",
                "side_area_m2",
                "slope_nose_m2",
                "slope_tail_m2",
                "centre_nose_m",
                "centre_tail_m",
                "centre_side_m",
                "damping_pitch_m4",
                "damping_roll_m4",
            )
        )
        + "[computers.pad]",
        "[aero.legs_out]",
        "no servo has the role 'legs'",
        None,
    ),
    (
        "centre of pressure outside",
        "[aero.stage]|centre_tail_m = 0.45",
        "centre_tail_m = 4.5",
        "centre_tail_m = 4.5",
        "behind the vehicle's tail",
        None,
    ),
    (
        "third computer",
        "[loads.igniter_1]|",
        "[computers.spare]\nbattery_v = 5.0\n[loads.igniter_1]",
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


def spoil(case):
    """The minimal file with one thing wrong, and the line (from 1) at which that shows."""
    _, change, replacement, shows_at, _, _ = case
    header, old = change.split("|")
    start = GOOD.index(header)
    old = old or header
    at = GOOD.index(old, start)
    bad = GOOD[:at] + replacement + GOOD[at + len(old) :]
    if case[0] == "order of parts":
        bad = bad.replace("tail_station_m = 0.9", "tail_station_m = 0.3")
    near = bad.find(shows_at, start)
    place = bad.index(shows_at) if shows_at.startswith("[") or near < 0 else near
    return bad, bad.count("\n", 0, place) + 1


@pytest.mark.parametrize("case", CASES, ids=[case[0] for case in CASES])
def test_one_line_with_place_and_nearest_name(case, tmp_path):
    text, line = spoil(case)
    path = tmp_path / "bad.vehicle.toml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(InputError) as caught:
        load_vehicle(path)
    error = caught.value
    assert case[4] in error.what
    assert (error.file, error.line) == (str(path), line)
    assert error.nearest == case[5]
    assert "\n" not in str(error)


@pytest.mark.parametrize(
    ("content", "says"),
    [
        (b"", "there is no table \\[vehicle\\]"),
        (b"[vehicle", "not valid TOML"),
        (b"\xff\xfe", "not UTF-8"),
        (b"x = 1", "unknown key 'x'"),
        (b"vehicle = 3", "must be a table"),
    ],
)
def test_files_that_are_no_vehicle(content, says, tmp_path):
    path = tmp_path / "bad.vehicle.toml"
    path.write_bytes(content)
    with pytest.raises(InputError, match=says):
        load_vehicle(path)


def test_a_missing_file_names_its_neighbour(tmp_path):
    (tmp_path / "dart.vehicle.toml").write_text(GOOD, encoding="utf-8")
    with pytest.raises(InputError, match="no such file") as caught:
        load_vehicle(tmp_path / "drat.vehicle.toml")
    assert caught.value.nearest == str(tmp_path / "dart.vehicle.toml")


def test_one_part_has_no_separation(tmp_path):
    start, end = GOOD.index("[parts.booster]"), GOOD.index("[curves.flat]")
    text = GOOD[:start] + GOOD[end:]
    text = text.replace('part = "booster"', 'part = "dart"').replace("0.9\n", "0.5\n")
    text = text.replace("0.85", "0.45").replace("centre_tail_m = 0.8", "centre_tail_m = 0.4")
    start, end = text.index("[aero.stage]"), text.index("[aero.fins_out]")
    path = tmp_path / "one.vehicle.toml"
    path.write_text(text[:start] + text[end:], encoding="utf-8")
    with pytest.raises(InputError, match="a vehicle of one part has no separation"):
        load_vehicle(path)
