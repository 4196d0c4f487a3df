"""Least and greatest value in a window that slides over a signal.

The window grows by doubling: the maximum over 2w samples is the maximum of two maxima over w, so
a window of any width takes a few vectorised passes, and the time per sample does not depend on
the width in practice (a window of 501 samples takes three passes more than one of 51).
"""

from __future__ import annotations

import math
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

__all__ = ["max_at", "min_at", "sliding_max", "sliding_min", "window_ticks"]

Floats = NDArray[np.float64]

#: for more places than that it is as well to slide over all of a signal
_FEW = 8


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


def max_at(
    values: Floats, places: range | list[int], first: float, last: float, *, outside: float
) -> Floats:
    """`sliding_max(values, first, last, outside=outside)[places]`, quick where they are few.

    places   indices of `values`, shape (k,); a range without gaps
    """
    if isinstance(places, range):
        return sliding_max(values, first, last, outside=outside)[places.start : places.stop]
    if first == last == 0:
        return values[places]
    if first > last or len(places) > _FEW:
        return sliding_max(values, first, last, outside=outside)[places]
    n = len(values)
    found = np.full(len(places), outside)
    for row, place in enumerate(places):
        low, high = place + first, place + last
        if low < n and high >= 0:
            most = np.maximum.reduce(values[int(max(low, 0)) : int(min(high, n - 1)) + 1])
            found[row] = most if low >= 0 and high < n else max(most, outside)
    return found


def min_at(
    values: Floats, places: range | list[int], first: float, last: float, *, outside: float
) -> Floats:
    """As `max_at`, for the least value."""
    return -max_at(-values, places, first, last, outside=-outside)


@lru_cache(maxsize=1024)
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
