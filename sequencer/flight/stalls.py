"""Why a computer misses ticks of its own: it hangs, or a write to flash keeps it."""

from __future__ import annotations

__all__ = ["Stalls"]


class Stalls:
    """Reasons, by name, each of which makes the last of every so many own ticks late."""

    def __init__(self) -> None:
        self._running: dict[str, tuple[int, int]] = {}

    def begin(self, reason: str, every: int, count: int) -> None:
        """From own tick `count` on the last of every `every` ticks is late; 1: each of them."""
        self._running[reason] = (every, count)

    def end(self, reason: str) -> None:
        """That reason is gone."""
        self._running.pop(reason, None)

    def late(self, count: int) -> bool:
        """Whether own tick `count` is missed."""
        return any((count - since) % every == every - 1 for every, since in self._running.values())
