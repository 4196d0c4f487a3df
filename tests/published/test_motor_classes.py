"""Motor classes, site table and size limits against the published rules."""

from __future__ import annotations

import pytest

from sequencer.errors import UsageError
from sequencer.vehicle.classes import (
    LAUNCHER_TILT_MAX_DEG,
    MISFIRE_WAIT_S,
    MODEL_ROCKET_LIMITS,
    SITE_TABLE,
    WIND_MAX_M_S,
    excesses,
    installed_impulse,
    motor_class,
    personnel_distance_m,
    site_row,
)


@pytest.mark.parametrize(
    ("impulse", "letter"),
    [
        (0.625, "1/4A"),
        (0.626, "1/2A"),
        (1.25, "1/2A"),
        (1.26, "A"),
        (2.50, "A"),
        (2.51, "B"),
        (5.0, "B"),
        (5.01, "C"),
        (10.0, "C"),
        (10.01, "D"),
        (20.0, "D"),
        (20.01, "E"),
        (40.0, "E"),
        (40.01, "F"),
        (80.0, "F"),
        (80.01, "G"),
        (160.0, "G"),
        (160.01, "H"),
        (40960.0, "O"),
    ],
)
def test_letter_by_total_impulse(impulse, letter):
    """Upper bounds 2.5 * 2^k N s, k = 0..6 for A..G.

    Source: table attached to the national Model Rocket Safety Code (effective August 2012) [T, in
    a verbatim copy]. The halves of A at 0.625 and 1.25 N s and the letters above G continue the
    doubling; class 2 of 14 CFR 101.22(b) ends at 40 960 N s = 2.5 * 2^14, class O [T].
    """
    assert motor_class(impulse) == letter


def test_no_class_without_impulse():
    with pytest.raises(UsageError, match="positive"):
        motor_class(0.0)
    with pytest.raises(UsageError, match="beyond class Z"):
        motor_class(1e9)


@pytest.mark.parametrize(
    ("impulse", "feet", "metres"),
    [
        (1.25, 50, 15),
        (1.26, 100, 30),
        (2.5, 100, 30),
        (2.51, 200, 60),
        (5.01, 400, 120),
        (10.01, 500, 150),
        (20.0, 500, 150),
        (20.01, 1000, 300),
        (80.01, 1000, 300),
        (160.0, 1000, 300),
        (160.01, 1500, 450),
        (320.0, 1500, 450),
    ],
)
def test_site_dimension(impulse, feet, metres):
    """Same table [T]; metres from an older copy of the code, the 450 m from memory [M]."""
    row = site_row(impulse)
    assert (row.dimension_ft, row.dimension_m) == (feet, metres)


def test_no_site_above_320():
    """NFPA 1122-2018 4.5: installed total impulse at most 320 N s [T2]."""
    with pytest.raises(UsageError, match="more than the 320 N s"):
        site_row(320.01)


def test_metres_are_rounded_feet():
    """The metric column never differs from the feet by more than 2 % [C]."""
    for row in SITE_TABLE:
        assert row.dimension_m == pytest.approx(row.dimension_ft * 0.3048, rel=0.02)


def test_a_cluster_counts_as_its_sum():
    """Four motors of 9 N s are 36 N s: row E, 1000 ft and 30 ft, not the 400 ft of one class C.

    Source: the same safety code classifies by the installed total [T].
    """
    total = installed_impulse([9.0] * 4)
    assert total == 36.0
    assert motor_class(9.0) == "C"
    assert site_row(total).dimension_ft == 1000
    assert personnel_distance_m(total) == pytest.approx(30 * 0.3048)


def test_personnel_distance():
    """Item 5 of the safety code: 15 ft up to D, 30 ft above [T]."""
    assert personnel_distance_m(20.0) == pytest.approx(4.572)
    assert personnel_distance_m(20.01) == pytest.approx(9.144)


@pytest.mark.parametrize(
    ("mass_g", "propellant_g", "impulse", "broken"),
    [
        (1500.0, 125.0, 320.0, []),
        (1500.1, 125.0, 320.0, ["mass"]),
        (1500.0, 125.1, 320.0, ["propellant"]),
        (1500.0, 125.0, 320.01, ["total impulse"]),
        (2000.0, 200.0, 400.0, ["mass", "propellant", "total impulse"]),
    ],
)
def test_size_of_a_model_rocket(mass_g, propellant_g, impulse, broken):
    """14 CFR 101.22(a), 73 FR 73781 (4 December 2008): 1500 g in all, 125 g propellant [T].

    NFPA 1122-2018 4.4.1, 4.4.2 and 4.5 say the same and 320 N s [T2]; item 7 of the code [T].
    """
    found = excesses(mass_g / 1000, propellant_g / 1000, impulse)
    assert [excess.limit.quantity for excess in found] == broken
    for excess in found:
        assert str(excess.limit.most) in str(excess) or f"{excess.limit.most:g}" in str(excess)


def test_other_figures_of_the_safety_code():
    """Items 4, 6 and 9 of the same code [T]: 60 s, 30 degrees, 20 mph = 8.9408 m/s."""
    assert MISFIRE_WAIT_S == 60
    assert LAUNCHER_TILT_MAX_DEG == 30
    assert pytest.approx(20 * 1609.344 / 3600) == WIND_MAX_M_S


def test_every_limit_names_its_source():
    assert all(limit.source for limit in MODEL_ROCKET_LIMITS)
