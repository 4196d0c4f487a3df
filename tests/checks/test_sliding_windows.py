"""Sliding extremes, and which ticks a window of decimal seconds holds."""

from __future__ import annotations

from fractions import Fraction
from math import inf

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sequencer.checks.windows import max_at, min_at, sliding_max, sliding_min, window_ticks

floats = st.lists(st.floats(-9, 9), min_size=0, max_size=40)
offsets = st.one_of(st.integers(-50, 50), st.sampled_from((-inf, inf)))


@given(floats, offsets, offsets, st.sampled_from((-inf, 0.0, inf)))
def test_against_a_loop(values, first, last, outside):
    first, last = min(first, last), max(first, last)
    if first == inf or last == -inf:
        first, last = -inf, inf
    n = len(values)

    def window(i):
        low, high = max(i + first, -1), min(i + last, n)  # one step outside stands for all
        if high < 0 or low >= n:
            return [outside]
        return [values[j] if 0 <= j < n else outside for j in range(int(low), int(high) + 1)]

    array = np.array(values, dtype=float)
    greatest = sliding_max(array, first, last, outside=outside)
    least = sliding_min(array, first, last, outside=outside)
    assert greatest.tolist() == [max(window(i)) for i in range(n)]
    assert least.tolist() == [min(window(i)) for i in range(n)]
    assert array.tolist() == values  # the caller's data are left alone


@given(
    st.lists(st.floats(-9, 9), min_size=1, max_size=30),
    offsets,
    offsets,
    st.sampled_from((-inf, 0.0, inf)),
    st.data(),
)
def test_at_some_places_they_are_what_they_are_everywhere(values, first, last, outside, data):
    first, last = min(first, last), max(first, last)
    if first == inf or last == -inf:
        first, last = -inf, inf
    array = np.array(values, dtype=float)
    n = len(values)
    some = sorted(data.draw(st.lists(st.integers(0, n - 1), min_size=1, max_size=12)))
    for places in (some, range(some[0], some[-1] + 1)):
        greatest = sliding_max(array, first, last, outside=outside)[list(places)]
        least = sliding_min(array, first, last, outside=outside)[list(places)]
        assert max_at(array, places, first, last, outside=outside).tolist() == greatest.tolist()
        assert min_at(array, places, first, last, outside=outside).tolist() == least.tolist()


def test_an_empty_window_has_no_greatest_value():
    assert sliding_max(np.array([1.0, 2.0]), 3, 2, outside=0.0).tolist() == [-inf, -inf]


@given(st.integers(0, 5000), st.integers(1, 1000))
def test_bounds_on_a_tick_hold_it_exactly(tick, rate_hz):
    """The decimal nearest to a tick's time names that tick, whatever the product rounds to."""
    bound = tick / rate_hz
    assert window_ticks(bound, bound, rate_hz) == (tick, tick)


@given(st.decimals(0, 60, places=3), st.sampled_from((10, 50, 100, 200, 400, 1000)))
def test_decimal_bounds(bound, rate_hz):
    exact = Fraction(bound) * rate_hz
    low, high = window_ticks(float(bound), float(bound), rate_hz)
    assert low == -(-exact.numerator // exact.denominator)
    assert high == exact.numerator // exact.denominator


@pytest.mark.parametrize(
    ("low", "high", "rate_hz", "ticks"),
    [
        (0.07, 0.07, 100, (7, 7)),  # 0.07 * 100 is 7.000000000000001
        (0.29, 0.57, 100, (29, 57)),  # 0.29 * 100 is 28.999999999999996
        (0.015, 0.025, 100, (2, 2)),
        (0.0, inf, 100, (0, inf)),
        (-inf, -0.07, 100, (-inf, -7)),
    ],
)
def test_ticks_of_a_window(low, high, rate_hz, ticks):
    assert window_ticks(low, high, rate_hz) == ticks
