"""How long a round trip takes, before a run counts on it."""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass
from statistics import median
from typing import Final

from hil.link import Link
from hil.messages import HEADER_BYTES, Frames
from sequencer.errors import UsageError

__all__ = ["Measured", "bytes_per_second", "measure", "warning"]

#: a start bit, eight of data, a stop bit
_BITS: Final = 10
#: what comes round a payload: CRC, stuffing, the zero byte
_AROUND: Final = 6
_TRIPS: Final = 20
#: beyond what the line itself takes, s; USB adapters hold bytes back for up to 16 ms by default
_HELD_BACK_S: Final = 0.008


@dataclass(frozen=True, slots=True)
class Measured:
    """Round trips of pings.

    frame_bytes   that went each way
    median_s, longest_s   of a trip, s
    """

    frame_bytes: int
    trips: int
    median_s: float
    longest_s: float


def measure(
    link: Link,
    frames: Frames,
    *,
    trips: int = _TRIPS,
    clock: Callable[[], float] = time.perf_counter,
) -> Measured:
    """Send pings as long as the board's frames usually are.

    Raises LinkError as every request does, UsageError for less than one trip.
    """
    if trips < 1:
        raise UsageError(f"at least one round trip is measured, not {trips}")
    payload = max(frames.plain_output, HEADER_BYTES + 4)
    body = bytes(range(1, 256)) * 5
    body = body[: payload - HEADER_BYTES - 4]
    taken = []
    for _ in range(trips):
        start = clock()
        link.ping(body)
        taken.append(clock() - start)
    return Measured(payload + _AROUND, trips, median(taken), max(taken))


def bytes_per_second(baud: int) -> float:
    """Of a line with 8 data bits, no parity, 1 stop bit."""
    return baud / _BITS


def warning(measured: Measured, baud: int) -> str | None:
    """One line if round trips take longer than the line and a quick board explain."""
    line_s = 2 * measured.frame_bytes / bytes_per_second(baud)
    if measured.median_s <= line_s + _HELD_BACK_S:
        return None
    return (
        f"a round trip takes {measured.median_s * 1000.0:.1f} ms, the line itself "
        f"{line_s * 1000.0:.1f} ms: something holds bytes back, as USB adapters do (16 ms unless "
        "told otherwise); set the adapter's latency to 1 ms"
    )
