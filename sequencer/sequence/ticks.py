"""Seconds to whole ticks, in exact decimals."""

from __future__ import annotations

import math

from sequencer.units import exact

__all__ = ["ticks", "whole_ticks"]


def ticks(seconds: float, rate_hz: int, *, least: int = 1) -> int:
    """Number of ticks that last at least `seconds`: max(least, ceil(seconds * rate)).

    The float counts as the decimal that it prints as: 0.07 s at 100 Hz is 7 ticks, although the
    floating product is 7.000000000000001.
    """
    return max(least, math.ceil(exact(seconds) * rate_hz))


def whole_ticks(seconds: float, rate_hz: int) -> int | None:
    """`seconds` in ticks if that is a whole number of at least one, else None."""
    count = exact(seconds) * rate_hz
    return int(count) if count.denominator == 1 and count >= 1 else None
