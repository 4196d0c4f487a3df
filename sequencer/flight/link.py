"""Messages between computers: who sees what, and when.

A message carries (boot number, sequence number); one that is not newer than the last one taken is
dropped; the latest wins. It becomes visible at the receiver's first tick *strictly after*
publication plus delay. Times are whole numbers of a unit that the world's tick and the delay
share, so they compare exactly.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass

__all__ = ["Mailbox", "Message"]


@dataclass(frozen=True, slots=True)
class Message:
    """What one computer published in one tick, on its way. `values` follow its `fields`."""

    arrival: int
    boot: int
    number: int
    values: tuple[float, ...]


class Mailbox:
    """The receiving end of one link from one sender."""

    def __init__(self) -> None:
        self._waiting: deque[Message] = deque()
        self._newest = (-1, -1)

    def post(self, message: Message) -> None:
        """Put a message on its way; arrivals need not be in order."""
        self._waiting.append(message)

    def take(self, now: int) -> tuple[Message | None, int]:
        """The newest message that is visible at `now`, if any, and how many were dropped as old."""
        if not self._waiting:
            return None, 0
        arrived = [message for message in self._waiting if message.arrival < now]
        if not arrived:
            return None, 0
        self._waiting = deque(message for message in self._waiting if message.arrival >= now)
        taken: Message | None = None
        dropped = 0
        for message in sorted(arrived, key=lambda m: m.arrival):
            if (message.boot, message.number) > self._newest:
                self._newest = (message.boot, message.number)
                taken = message
            else:
                dropped += 1
        return taken, dropped

    def forget(self) -> None:
        """The receiver rebooted: what was on its way is lost, and so is the memory of numbers."""
        self._waiting.clear()
        self._newest = (-1, -1)
