"""Messages between computers: who sees what, and when.

A message carries (boot number, sequence number); one that is not newer than the last one taken is
dropped; the latest wins. It becomes visible at the receiver's first tick *strictly after*
publication plus delay. Times are whole numbers of a unit that the world's tick and the delay
share, so they compare exactly.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass
from typing import NamedTuple

__all__ = ["Mail", "Mailbox", "Message"]


@dataclass(frozen=True, slots=True)
class Message:
    """What one computer published in one tick, on its way. `values` follow its `fields`.

    whole   False where it was damaged on its way: the receiver's check finds that out
    """

    arrival: int
    boot: int
    number: int
    values: tuple[float, ...]
    whole: bool = True


class Mail(NamedTuple):
    """What a mailbox held: the newest message, how many were dropped as old, how many damaged."""

    message: Message | None = None
    dropped: int = 0
    corrupt: int = 0


class Mailbox:
    """The receiving end of one link from one sender."""

    def __init__(self) -> None:
        self._waiting: deque[Message] = deque()
        self._newest = (-1, -1)

    def post(self, message: Message) -> None:
        """Put a message on its way; arrivals need not be in order."""
        self._waiting.append(message)

    def take(self, now: int) -> Mail:
        """The newest message that is visible at `now`, if any, and what became of the others."""
        if not self._waiting:
            return Mail()
        arrived = [message for message in self._waiting if message.arrival < now]
        if not arrived:
            return Mail()
        self._waiting = deque(message for message in self._waiting if message.arrival >= now)
        taken: Message | None = None
        dropped = corrupt = 0
        for message in sorted(arrived, key=lambda m: m.arrival):
            if not message.whole:
                corrupt += 1
            elif (message.boot, message.number) > self._newest:
                self._newest = (message.boot, message.number)
                taken = message
            else:
                dropped += 1
        return Mail(taken, dropped, corrupt)

    def forget(self, now: int) -> None:
        """The receiver boots: what came while it was down is lost, and the memory of numbers."""
        self._waiting = deque(message for message in self._waiting if message.arrival >= now)
        self._newest = (-1, -1)
