"""Clocks of computers against the arithmetic of drifting clocks, done another way."""

from __future__ import annotations

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sequencer.flight.clock import Clock
from sequencer.flight.stalls import Stalls


def falls(clock: Clock, ticks: range) -> list[int]:
    """The world ticks on which an own tick falls, as often as it does."""
    found = []
    for tick in ticks:
        while clock.due(tick):
            found.append(tick)
            clock.advance()
    return found


@pytest.mark.parametrize("step", [1, 2, 7])
def test_a_good_clock_ticks_every_so_many_world_ticks(step: int) -> None:
    assert falls(Clock(step), range(50)) == list(range(0, 50, step))


@given(st.integers(-900_000, 900_000), st.integers(1, 7))
def test_own_tick_n_falls_on_the_world_tick_nearest_to_when_it_is_due(ppm: int, step: int) -> None:
    """Due at n * step / (1 + ppm / 1e6) world ticks, which integers decide exactly."""
    clock = Clock(step)
    clock.drift(ppm, 0)
    for number, tick in enumerate(falls(clock, range(60))):
        due = Fraction(number * step * 1_000_000, 1_000_000 + ppm)
        assert tick - Fraction(1, 2) <= due < tick + Fraction(1, 2)


def test_a_fast_clock_gains_a_tick_and_keeps_it() -> None:
    """1 % fast for 1000 world ticks gains 10 of them; afterwards it runs as before."""
    clock = Clock(1)
    before = falls(clock, range(100))
    clock.drift(10_000, 100)
    during = falls(clock, range(100, 1100))
    clock.drift(0, 1100)
    after = falls(clock, range(1100, 1200))

    assert (len(before), len(during), len(after)) == (100, 1010, 100)
    assert after == list(range(1100, 1200))


def test_a_slow_clock_loses_one() -> None:
    clock = Clock(2)
    clock.drift(Fraction(-20_000), 0)
    assert len(falls(clock, range(10_000))) == 4900


def test_a_year_loses_nothing_to_rounding() -> None:
    """Drift switched on and off again and again: what it gained is the exact sum."""
    clock = Clock(1)
    count = 0
    for start in range(0, 10_000, 20):
        clock.drift(Fraction(1, 3) * 1000, start)
        count += len(falls(clock, range(start, start + 10)))
        clock.drift(0, start + 10)
        count += len(falls(clock, range(start + 10, start + 20)))
    gained = Fraction(5000, 3000)  # 1/3 thousandth of 5000 ticks
    assert count == 10_000 + round(gained)


def test_stalls_take_the_last_tick_of_every_so_many() -> None:
    stalls = Stalls()
    stalls.begin("writes", 4, 2)
    assert [n for n in range(2, 14) if stalls.late(n)] == [5, 9, 13]
    stalls.begin("hangs", 1, 6)
    assert all(stalls.late(n) for n in (6, 7))
    stalls.end("hangs")
    stalls.end("writes")
    assert not any(stalls.late(n) for n in range(20))
