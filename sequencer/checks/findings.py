"""What one stretch of a scope came to, and the gate of times that an event must pass."""

from __future__ import annotations

import bisect
import math
from collections.abc import Callable, Sequence
from functools import lru_cache
from typing import NamedTuple

from sequencer.checks.demands import Window
from sequencer.checks.scopes import Segment
from sequencer.checks.view import Occurrence, View
from sequencer.checks.windows import window_ticks
from sequencer.units import exact

__all__ = ["Finding", "Gate", "Saying", "Span", "spare"]

#: so many events are looked at one by one
_FEW = 4
#: makes a sentence, or a part of one, where it is wanted
Saying = Callable[[], str]


def spare(ticks: int, rate_hz: int, seconds: float) -> float:
    """So many ticks less a decimal number of seconds, in s, exact and then rounded once."""
    over, under = _ratio(seconds)
    return (ticks * under - over * rate_hz) / (under * rate_hz)


@lru_cache(maxsize=1024)
def _ratio(seconds: float) -> tuple[int, int]:
    return exact(seconds).as_integer_ratio()


class Finding(NamedTuple):
    """The margin lies between `low` and `high` (equal where all is known).

    start, end  ticks between which it was broken, or where the margin was least
    text        gives a sentence on it: how it was broken, kept, or what keeps it from being decided
    """

    low: float
    high: float
    start: int | None
    end: int | None
    text: Saying

    @property
    def broken(self) -> bool:
        """Broken, whatever the unknown is."""
        return self.high < 0

    @property
    def kept(self) -> bool:
        """Kept, whatever the unknown is; a margin of zero is kept."""
        return self.low >= 0


class Gate(NamedTuple):
    """Times between which an event must come, as (tick, seconds after it).

    A time is compared as a difference of ticks over the rate, rounded once, with the decimal
    number in the file, so that the seventh tick at 100 Hz is exactly on a bound of 0.07 s.
    """

    rate_hz: int
    after: tuple[tuple[int, float], ...] = ()
    before: tuple[tuple[int, float], ...] = ()

    def margin(self, tick: int) -> float:
        """Distance in s to the nearest bound, negative outside; inf if there is none."""
        return min(self._rising(tick), self._falling(tick))

    def late(self, tick: int) -> bool:
        """Whether the end is nearer than the beginning: outside, whether it came too late."""
        return self._falling(tick) <= self._rising(tick)

    def best(
        self, found: Sequence[Occurrence], start: int = 0, besides: Occurrence | None = None
    ) -> tuple[float, Occurrence | None]:
        """The largest margin of any of `found[start:]` (in order of time), and whose it is.

        `besides` is left out: an event does not answer itself.
        """
        near = found
        if len(found) > _FEW:
            # both sides are monotonic, so the largest minimum lies where they cross
            cross = bisect.bisect_left(found, True, lo=start, key=lambda one: self.late(one.tick))
            near = found[max(start, cross - 2) : cross + 2]
        elif start:
            near = found[start:]
        if besides is not None:
            near = [one for one in near if not one.same(besides)]
        if not near:
            return -math.inf, None
        chosen = near[0] if len(near) == 1 else max(near, key=lambda one: self.margin(one.tick))
        return self._decimal(chosen.tick), chosen

    def _decimal(self, tick: int) -> float:
        """The margin without the dust of binary fractions: 0.6 s less 61 ticks is -0.01 s."""
        rough = self.margin(tick)
        if rough == 0 or math.isinf(rough):
            return rough
        rising = [spare(tick - start, self.rate_hz, s) for start, s in self.after]
        falling = [-spare(tick - start, self.rate_hz, s) for start, s in self.before]
        return min(rising + falling)

    def _rising(self, tick: int) -> float:
        least = math.inf
        for start, seconds in self.after:
            least = min(least, (tick - start) / self.rate_hz - seconds)
        return least

    def _falling(self, tick: int) -> float:
        least = math.inf
        for start, seconds in self.before:
            least = min(least, seconds - (tick - start) / self.rate_hz)
        return least


class Span(NamedTuple):
    """A segment narrowed by a window that counts from its start.

    first, final  ticks that belong to it, inside the record; first > final: none does
    cut           the window reaches beyond the end of the record
    endless       neither the window nor an event ends it
    """

    segment: Segment
    window: Window
    first: int
    final: int
    cut: bool
    endless: bool
    gate: Gate

    @property
    def empty(self) -> bool:
        """The scope ended before the window began."""
        return self.first > self.final and not self.cut

    @classmethod
    def of(cls, segment: Segment, window: Window, view: View) -> Span:
        """The part of `segment` that lies in the window."""
        low, high = window_ticks(window.low_s, window.high_s, view.rate_hz)
        start = segment.start
        after: list[tuple[int, float]] = []
        before: list[tuple[int, float]] = []
        if segment.opened is not None or window.low_s > 0:
            after.append((start, window.low_s))
        if window.bounded:
            before.append((start, window.high_s))
        if segment.closed is not None:
            before.append((segment.end, 0.0))
        open_end = segment.closed is None
        return cls(
            segment,
            window,
            first=start + int(low),
            final=int(min(segment.end, start + high)),
            cut=open_end and start + (high if window.bounded else low) > view.last,
            endless=open_end and not window.bounded,
            gate=Gate(view.rate_hz, tuple(after), tuple(before)),
        )
