"""Least and greatest value in a window that slides over a signal.

The window grows by doubling: the maximum over 2w samples is the maximum of two maxima over w, so
a window of any width takes a few vectorised passes, and the time per sample does not depend on
the width in practice (a window of 501 samples takes three passes more than one of 51).
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

__all__ = ["sliding_max", "sliding_min", "window_ticks"]

Floats = NDArray[np.float64]


def sliding_max(values: Floats, first: float, last: float, *, outside: float) -> Floats:
    """`out[i] = max(values[i + first : i + last + 1])`, shape (n,) like `values`.

    `first` and `last` are whole offsets with first <= last, either may be infinite; samples that
    do not exist count as `outside`. This is "eventually within [first, last]" of signal temporal
    logic (Donzé, Maler 2010), and with negative offsets "once within".
    """
    n = len(values)
    if n == 0 or first > last:
        return np.full(n, -math.inf)
    low, high = (int(min(max(offset, -n), n)) for offset in (first, last))
    padded = np.concatenate(
        (np.full(max(0, -low), outside), values, np.full(max(0, high), outside))
    )
    width = 1
    wanted = high - low + 1
    while 2 * width <= wanted:
        padded_end = len(padded) - width
        padded = np.maximum(padded[:padded_end], padded[width:])
        width *= 2
    start = max(0, low)  # a window that begins later than its sample
    rest = wanted - width
    found: Floats = np.maximum(padded[start : start + n], padded[start + rest : start + rest + n])
    return found


def sliding_min(values: Floats, first: float, last: float, *, outside: float) -> Floats:
    """As `sliding_max`, for the least value: "always within", "historically within"."""
    return -sliding_max(-values, first, last, outside=-outside)


def window_ticks(low_s: float, high_s: float, rate_hz: int) -> tuple[float, float]:
    """First and last tick of the closed window [low_s, high_s], counted from its beginning.

    A tick n belongs to it when `n / rate_hz`, rounded once, does: 0.07 s at 100 Hz is tick 7,
    although 0.07 * 100 is not 7. An infinite bound stays infinite.
    """
    return _least(low_s, rate_hz), _greatest(high_s, rate_hz)


def _least(bound_s: float, rate_hz: int) -> float:
    if math.isinf(bound_s):
        return bound_s
    tick = math.floor(bound_s * rate_hz) - 1
    while tick / rate_hz < bound_s:
        tick += 1
    return tick


def _greatest(bound_s: float, rate_hz: int) -> float:
    if math.isinf(bound_s):
        return bound_s
    tick = math.ceil(bound_s * rate_hz) + 1
    while tick / rate_hz > bound_s:
        tick -= 1
    return tick
