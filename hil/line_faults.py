"""What lines do to frames, in one wrapper around any byte stream; the same for the same seed.

Chance is asked once per frame and direction, in the order of the frames, and never the clock: with
a board and a clock that repeat, a run repeats to the byte.
"""

from __future__ import annotations

import random
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, fields
from typing import Final

from hil.streams import Stream
from sequencer.errors import UsageError

__all__ = ["FaultyStream", "LineFaults"]

#: a delayed frame comes after so many others, at most
_FARTHEST: Final = 4


@dataclass(frozen=True, slots=True)
class LineFaults:
    """Chances per frame, 0 to 1, in each direction.

    lost        it does not come
    repeated    it comes twice
    reordered   it comes after the next one
    corrupted   one to four bits of it are changed
    delayed     it comes after up to four others
    cut         only its first bytes come, without its end
    unplugged   (first, last) counts, from 0, of frames written: while the host writes these,
                nothing gets through either way; then the line is plugged in again

    Raises UsageError for a chance that is none, or if they come to more than 1 together.
    """

    lost: float = 0.0
    repeated: float = 0.0
    reordered: float = 0.0
    corrupted: float = 0.0
    delayed: float = 0.0
    cut: float = 0.0
    unplugged: tuple[tuple[int, int], ...] = ()

    def __post_init__(self) -> None:
        total = 0.0
        for name, chance in self.chances():
            if not 0.0 <= chance <= 1.0:
                raise UsageError(f"the chance of '{name}' is from 0 to 1, not {chance:g}")
            total += chance
        if total > 1.0:
            raise UsageError(f"the chances of a line's faults come to {total:g}, more than 1")

    def chances(self) -> Iterator[tuple[str, float]]:
        """Each kind with its chance, in the order in which they are declared."""
        for field in fields(self):
            if field.name != "unplugged":
                yield field.name, getattr(self, field.name)


class _Way:
    """One direction. `done` counts what was done to frames."""

    def __init__(self, faults: LineFaults, seed: str, done: Counter[str]) -> None:
        self._chances = tuple(faults.chances())
        self._random = random.Random(seed)  # noqa: S311 - chance, not secrets
        self._done = done
        self._held: list[tuple[int, bytes]] = []
        self._count = 0

    def carry(self, frame: bytes) -> bytes:
        """What arrives when this frame is sent."""
        self._count += 1
        what = self._drawn()
        if what is not None:
            self._done[what] += 1
        now = self._changed(what, frame)
        due = [held for at, held in self._held if at <= self._count]
        self._held = [(at, held) for at, held in self._held if at > self._count]
        if what in {"reordered", "delayed"}:
            after = 1 if what == "reordered" else self._random.randint(1, _FARTHEST)
            self._held.append((self._count + after, frame))
        return now + b"".join(due)

    def _drawn(self) -> str | None:
        drawn = self._random.random()
        for name, chance in self._chances:
            drawn -= chance
            if drawn < 0.0:
                return name
        return None

    def _changed(self, what: str | None, frame: bytes) -> bytes:
        if what in {"lost", "reordered", "delayed"}:
            return b""
        if what == "repeated":
            return frame + frame
        if what == "cut":
            return frame[: self._random.randrange(len(frame))]
        if what == "corrupted":
            damaged = bytearray(frame)
            for _ in range(self._random.randint(1, 4)):
                bit = self._random.randrange(8 * len(damaged))
                damaged[bit // 8] ^= 1 << bit % 8
            return bytes(damaged)
        return frame


class FaultyStream:
    """Another stream with faults on its line. `done` counts them by kind."""

    def __init__(self, stream: Stream, faults: LineFaults, seed: int) -> None:
        self.name = stream.name
        self.done: Counter[str] = Counter()
        self._stream = stream
        self._out = _Way(faults, f"out {seed}", self.done)
        self._in = _Way(faults, f"in {seed}", self.done)
        self._unplugged = faults.unplugged
        self._written = 0
        self._rest = b""

    def write(self, data: bytes) -> None:
        """Send frames, or what becomes of them."""
        arriving = b""
        *frames, rest = _frames(data)
        for frame in frames:
            if self._is_unplugged():
                self.done["unplugged"] += 1
            else:
                arriving += self._out.carry(frame)
            self._written += 1
        arriving += rest
        if arriving:
            self._stream.write(arriving)

    def read(self, timeout_s: float) -> bytes:
        """What has arrived; nothing, before the time is up, if a frame was lost."""
        received = self._stream.read(timeout_s)
        if self._written and self._is_unplugged(self._written - 1):
            self._rest = b""
            return b""
        *frames, self._rest = _frames(self._rest + received)
        return b"".join(map(self._in.carry, frames))

    def close(self) -> None:
        """Close the stream under it."""
        self._stream.close()

    def _is_unplugged(self, at: int | None = None) -> bool:
        count = self._written if at is None else at
        return any(first <= count <= last for first, last in self._unplugged)


def _frames(data: bytes) -> list[bytes]:
    """Frames with their ends, zero bytes in front of them included; what is left comes last."""
    *ended, rest = data.split(b"\x00")
    found, before = [], b""
    for piece in ended:
        if piece:
            found.append(before + piece + b"\x00")
            before = b""
        else:
            before += b"\x00"
    return [*found, before + rest]
