"""Units: exact conversion, composed symbols, dimensions, and what is no unit."""

from __future__ import annotations

import math
from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sequencer.errors import InputError
from sequencer.units import COMMON, ONE, SUFFIXES, TRUTH, exact, suffix_unit, unit


@pytest.mark.parametrize(
    ("symbol", "value", "si"),
    [
        ("m", 3, 3.0),
        ("mm", 0.3, 0.0003),  # 0.3 * 0.001 in floats is 0.00030000000000000003
        ("ms", 70, 0.07),
        ("km/h", 3.6, 1.0),
        ("g", 250, 0.25),
        ("min", 1.5, 90.0),
        ("%", 12.5, 0.125),
        ("hPa", 1013.25, 101325.0),
        ("bar", 1, 100000.0),
        ("kN", 1, 1000.0),
        ("A h", 1, 3600.0),
        ("mohm", 5, 0.005),
        ("kHz", 2, 2000.0),
        ("deg", 180, math.pi),
        ("deg", 90, math.pi / 2),
        ("deg/s", 360, 2 * math.pi),
        ("1/s", 4, 4.0),
        ("kg m2", 0.02, 0.02),
        ("cm2", 260, 0.026),
        ("degC", 20, 293.15),
        ("degC", -273.15, 0.0),
    ],
)
def test_conversion_to_si_is_exact_and_rounded_once(symbol, value, si):
    assert unit(symbol).to_si(value) == si


def test_standard_gravity():
    """9.80665 m/s2 exactly: 3rd General Conference on Weights and Measures, 1901 [T]."""
    assert unit("g0").to_si(1) == 9.80665


def test_decimals_convert_like_the_floats_that_print_the_same():
    assert unit("ms").to_si(Decimal("70.0")) == unit("ms").to_si(70.0) == 0.07


def test_a_difference_of_temperatures_has_no_offset():
    assert unit("degC").span_to_si(2.5) == 2.5


@given(
    st.sampled_from([symbol for symbol in COMMON if symbol != "bool"]),
    st.floats(-1e6, 1e6, allow_nan=False),
)
def test_there_and_back_comes_to_the_same_number(symbol, value):
    back = unit(symbol).from_si(unit(symbol).to_si(value))
    # one rounding each way; degC loses the bits that the offset takes
    assert math.isclose(back, value, rel_tol=1e-15, abs_tol=1e-12)


def test_from_si_leaves_missing_values_alone():
    assert math.isnan(unit("deg").from_si(math.nan))
    assert unit("deg").from_si(-math.inf) == -math.inf


@pytest.mark.parametrize(
    ("one", "other"),
    [
        ("N", "kg m/s2"),
        ("J", "N m"),
        ("W", "J/s"),
        ("V", "W/A"),
        ("ohm", "V/A"),
        ("Pa", "N/m2"),
        ("Hz", "1/s"),
        ("deg/s", "rad/s"),
        ("km/h", "m/s"),
    ],
)
def test_derived_units_have_the_dimension_of_their_definition(one, other):
    """Definitions of the derived units: SI Brochure, 9th edition, 2019, table 4 [M]."""
    assert unit(one).dimension == unit(other).dimension


def test_an_angle_is_no_plain_number_and_a_truth_is_neither():
    assert unit("rad").dimension != ONE
    assert unit("bool").dimension == TRUTH != ONE


def test_dimension_algebra():
    metre, second = unit("m").dimension, unit("s").dimension
    assert metre / second**2 == unit("m/s2").dimension
    assert (metre * metre) ** Fraction(1, 2) == metre
    assert str(metre / second**2) == "m/s2"
    assert str(ONE) == "1"
    assert str(ONE / second) == "1/s"
    assert str(metre ** Fraction(1, 2)) == "m^(1/2)"


@pytest.mark.parametrize(
    ("symbol", "near"),
    [
        ("metres", "ms"),
        ("m/s^2", "m/s2"),
        ("m/s/s", "m/s"),
        ("degree", "deg"),
        ("sec", "s"),
        ("pa", "Pa"),
        ("m1", "m"),
        ("degC/s", "deg/s"),  # a slope is per kelvin
        ("", None),
        ("м", None),  # Cyrillic
        ("m//s", "m/s"),
        ("m  s", "ms"),
        ("m10", "m"),
    ],
)
def test_what_is_no_unit_is_refused_with_the_nearest(symbol, near):
    with pytest.raises(InputError) as caught:
        unit(symbol)
    assert "unknown unit" in str(caught.value)
    assert caught.value.nearest == near


def test_a_symbol_of_a_megabyte_is_refused_in_a_short_line():
    with pytest.raises(InputError) as caught:
        unit("kg " * 300_000)
    assert len(str(caught.value)) < 120


def test_a_value_beyond_the_floats_is_an_input_error():
    with pytest.raises(InputError, match="too large"):
        unit("km").to_si(1e308)


@pytest.mark.parametrize("value", [math.nan, math.inf, Decimal("-Infinity")])
def test_only_finite_numbers_are_exact(value):
    with pytest.raises(InputError, match="finite"):
        exact(value)


@pytest.mark.parametrize(
    ("name", "symbol"),
    [
        ("climb_m_s", "m/s"),
        ("accel_x_m_s2", "m/s2"),
        ("height_m", "m"),
        ("time_s", "s"),
        ("tilt_deg", "deg"),
        ("gyro_deg_s", "deg/s"),
        ("ki_per_s", "1/s"),
        ("impulse_n_s", "N s"),
    ],
)
def test_the_ending_of_a_name_carries_its_unit(name, symbol):
    found = suffix_unit(name)
    assert found is not None
    assert found.symbol == symbol


def test_a_name_without_such_an_ending_has_no_unit():
    assert suffix_unit("armed") is None


def test_every_suffix_and_every_listed_symbol_is_a_unit():
    for symbol in (*SUFFIXES.values(), *COMMON):
        assert unit(symbol).symbol == symbol
