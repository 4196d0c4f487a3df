"""The length of a log: memory, buffer, power."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sequencer.flight.log import Log
from sequencer.vehicle.logger import Logger


def test_a_log_is_as_long_as_its_computer_ran() -> None:
    log = Log(Logger(None, 0.0, None), 50)
    assert not any(log.add() for _ in range(125))
    assert (log.length_s, log.full) == (2.5, False)
    assert log.cut() == 0.0


def test_a_full_memory_says_so_once() -> None:
    log = Log(Logger(0.5, 0.2, None), 100)
    assert [n for n in range(80) if log.add()] == [49]
    assert (log.length_s, log.full) == (0.5, True)
    assert log.cut() == 0.0  # the last buffer was written when the memory was full


@given(
    st.lists(st.integers(0, 40), min_size=1, max_size=5),
    st.integers(1, 20),
    st.one_of(st.none(), st.integers(1, 100)),
)
def test_what_is_lost_is_less_than_a_buffer_and_what_is_kept_is_whole_buffers(
    runs: list[int], buffer: int, memory: int | None
) -> None:
    """Against counting by hand: whole buffers of every spell, up to the memory."""
    rate = 100
    log = Log(Logger(None if memory is None else memory / rate, buffer / rate, None), rate)
    room = math.inf if memory is None else memory
    kept = 0
    for ticks in runs:
        for _ in range(ticks):
            log.add()
        lost = log.cut()
        fits = min(ticks, room - kept)
        whole = fits if fits == room - kept else fits // buffer * buffer
        assert lost == pytest.approx((fits - whole) / rate)
        kept += whole
    assert log.length_s == pytest.approx(kept / rate)
