"""Whatever is wrong with parts, motors, parachutes or aerodynamics is told in one line."""

from __future__ import annotations

import pytest
from spoiling import refused

MORE_PARACHUTES = "".join(
    f"[parachutes.p{i}]\npart = 'dart'\ndrag_area_m2 = 1.0\ninflation_s = 1.0\n"
    "attach_station_m = 0.1\n"
    for i in range(4)
)

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
]


@pytest.mark.parametrize("case", CASES, ids=[case[0] for case in CASES])
def test_one_line_with_place_and_nearest_name(case, tmp_path):
    refused(case, tmp_path)
