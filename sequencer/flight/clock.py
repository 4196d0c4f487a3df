"""A computer's own clock: on which ticks of the world its ticks fall."""

from __future__ import annotations

import math
from fractions import Fraction

__all__ = ["Clock"]

_MILLION = 1_000_000


class Clock:
    """Counts own ticks, `step` world ticks apart, running fast or slow by parts per million.

    A tick falls on the world tick nearest to when it is due (halfway: on the later one). Times are
    whole numbers or fractions, so nothing is lost however long it runs. A clock that has drifted
    keeps the time that it has gained or lost.

    count   number of own ticks that are over
    """

    def __init__(self, step: int) -> None:
        self.count = 0
        self._step = step
        self._period: int | Fraction = step
        self._next: int | Fraction = 0
        self._falls_on = 0

    def due(self, tick: int) -> bool:
        """Whether an own tick falls on this world tick (or has fallen, and was not counted)."""
        return tick >= self._falls_on

    def advance(self) -> None:
        """The tick that was due is over."""
        self.count += 1
        self._next += self._period
        self._falls_on = _nearest(self._next)

    def drift(self, ppm: Fraction | int, tick: int) -> None:
        """From this world tick on run fast by so many parts per million; negative: slow.

        ppm   above -1 000 000, so that time goes on
        """
        period = self._step / (1 + Fraction(ppm, _MILLION))
        self._next = tick + (self._next - tick) * period / self._period
        self._period = period
        self._falls_on = _nearest(self._next)


def _nearest(time: int | Fraction) -> int:
    return time if isinstance(time, int) else math.floor(time + Fraction(1, 2))
