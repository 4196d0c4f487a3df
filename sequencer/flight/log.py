"""How long the log of one computer is: it fills its memory, and a lost buffer cuts it short."""

from __future__ import annotations

import math

from sequencer.sequence.ticks import ticks
from sequencer.vehicle.logger import Logger

__all__ = ["Log"]


class Log:
    """Counts the records of a logger: one for every tick that its computer has run.

    Counting starts with the first boot; a reboot goes on where the log ends.
    """

    def __init__(self, logger: Logger, rate_hz: int) -> None:
        self._rate = rate_hz
        self._memory: float = math.inf
        if logger.memory_s is not None:
            self._memory = ticks(logger.memory_s, rate_hz)
        self._buffer = ticks(logger.buffer_s, rate_hz)
        self._written = 0
        self._waiting = 0

    @property
    def full(self) -> bool:
        """Whether its memory is used up."""
        return self._written + self._waiting >= self._memory

    @property
    def length_s(self) -> float:
        """How long the log is, the buffer included."""
        return (self._written + self._waiting) / self._rate

    def add(self) -> bool:
        """One more record; True when that was the last one that fits."""
        if self.full:
            return False
        self._waiting += 1
        if self._waiting >= self._buffer or self.full:
            self._written += self._waiting
            self._waiting = 0
        return self.full

    def cut(self) -> float:
        """The power is gone: how much is lost, s."""
        lost = self._waiting / self._rate
        self._waiting = 0
        return lost
