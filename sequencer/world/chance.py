"""Chance without memory: a number that depends on (seed, flight, source, draw) and nothing else.

The generator is Philox4x32-10, counter-based: J. K. Salmon, M. A. Moraes, R. O. Dror, D. E. Shaw,
"Parallel random numbers: as easy as 1, 2, 3", SC11 (2011). Since every draw is a pure function of
its key, taking away one sensor or adding a fault shifts no other number of the flight.
"""

from __future__ import annotations

import math
from typing import Final, TypeAlias

import numpy as np

from sequencer.world.jit import compiled

__all__ = [
    "SOURCE_LINK",
    "SOURCE_LOAD",
    "SOURCE_SENSOR",
    "SOURCE_START",
    "SOURCE_TURBULENCE",
    "normal_pair",
    "philox",
    "uniform_pair",
]

#: numbers of the sources of chance; sensor i draws from SOURCE_SENSOR + i
SOURCE_TURBULENCE: Final = 1  # and the two after it
SOURCE_START: Final = 4  # and the two after it
SOURCE_LOAD: Final = 7  # draw i is that of load i
SOURCE_LINK: Final = 8  # draw n of SOURCE_LINK + i is that of message n of computer i
SOURCE_SENSOR: Final = 16

#: 32 bits of it count
Word: TypeAlias = int | np.uint64

# numba keeps unsigned numbers unsigned only if every operand is one
_LOW: Final = np.uint64(0xFFFFFFFF)
_32: Final = np.uint64(32)
_11: Final = np.uint64(11)
_M0: Final = np.uint64(0xD2511F53)
_M1: Final = np.uint64(0xCD9E8D57)
_W0: Final = np.uint64(0x9E3779B9)
_W1: Final = np.uint64(0xBB67AE85)
_TO_UNIT: Final = 2.0**-53
_TURN: Final = 2.0 * math.pi


@compiled()
def philox(
    c0: Word, c1: Word, c2: Word, c3: Word, k0: Word, k1: Word
) -> tuple[np.uint64, np.uint64, np.uint64, np.uint64]:
    """Philox4x32-10 of the counter (c0..c3) under the key (k0, k1): four 32-bit words."""
    a, b, c, d = np.uint64(c0), np.uint64(c1), np.uint64(c2), np.uint64(c3)
    key0, key1 = np.uint64(k0), np.uint64(k1)
    for _ in range(10):
        first = _M0 * a
        second = _M1 * c
        a, b, c, d = (
            (second >> _32) ^ b ^ key0,
            second & _LOW,
            (first >> _32) ^ d ^ key1,
            first & _LOW,
        )
        key0 = (key0 + _W0) & _LOW
        key1 = (key1 + _W1) & _LOW
    return a, b, c, d


@compiled(inline=True)
def normal_pair(seed: int, flight: int, source: int, draw: int) -> tuple[float, float]:
    """Two independent standard normal numbers (Box and Muller, 1958).

    seed and flight are used with 64 bits, source and draw with 32.
    """
    s, f = np.uint64(seed), np.uint64(flight)
    a, b, c, d = philox(
        np.uint64(draw) & _LOW, np.uint64(source) & _LOW, f & _LOW, f >> _32, s & _LOW, s >> _32
    )
    # 53 bits each; the first never zero, because of its logarithm
    u = (float(((a << _32) | b) >> _11) + 0.5) * _TO_UNIT
    angle = _TURN * (float(((c << _32) | d) >> _11) * _TO_UNIT)
    radius = math.sqrt(-2.0 * math.log(u))
    return radius * math.cos(angle), radius * math.sin(angle)


def uniform_pair(seed: int, flight: int, source: int, draw: int) -> tuple[float, float]:
    """Two independent numbers in [0, 1), multiples of 2**-53, for what is not compiled.

    seed and flight are used with 64 bits, source and draw with 32.
    """
    low, high = 0xFFFFFFFF, 32
    # the plain function, where numba has wrapped it: nothing is compiled for a few messages
    words = getattr(philox, "py_func", philox)(
        draw & low, source & low, flight & low, flight >> high, seed & low, seed >> high
    )
    a, b, c, d = (int(word) for word in words)
    return ((a << high | b) >> 11) * _TO_UNIT, ((c << high | d) >> 11) * _TO_UNIT
