"""A flight record as requirements see it: conditions evaluated once, events found once."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from operator import attrgetter

import numpy as np
from numpy.typing import NDArray

from sequencer.checks.conditions import Condition, Trace, evaluate
from sequencer.checks.happenings import EventPattern, Happening, Onset, onsets
from sequencer.errors import UsageError
from sequencer.record import FLIGHT_OVER, Event, FlightRecord, Signal
from sequencer.units import unit

__all__ = ["Occurrence", "View"]


@dataclass(frozen=True, slots=True, order=True)
class Occurrence:
    """Something that happened. `order` is its place in the record (-1 for an onset)."""

    tick: int
    order: int
    label: str = field(compare=False)

    def same(self, other: Occurrence | None) -> bool:
        """Whether both are one and the same (onsets of two conditions may share a tick)."""
        return other is not None and self == other and self.label == other.label


_place = attrgetter("tick", "order")


class View:
    """One record; keeps what it has worked out for the next requirement."""

    def __init__(self, record: FlightRecord) -> None:
        self.record = record
        self.rate_hz = record.rate_hz
        #: last tick about which everything is known, and last on which anything came: what the
        self.last = record.ticks - 1
        self.end = max([self.last, *[event.tick for event in record.events]])
        self._traces: dict[tuple[str, tuple[tuple[str, str], ...]], Trace] = {}
        self._found: dict[Happening, list[Occurrence]] = {}
        self._signals: dict[str, Signal | None] = {}
        #: kind -> name -> (place in the record, event), in order
        self._events: dict[str, dict[str, list[tuple[int, Event]]]] = {}
        #: the same, as occurrences, of those that have been asked for
        self._known: dict[tuple[str, str], list[Occurrence]] = {}
        for order, event in enumerate(record.events):
            names = self._events.setdefault(event.kind, {})
            names.setdefault(event.name, []).append((order, event))
        #: nothing more can come, whatever was not given a deadline
        kind, _, name = FLIGHT_OVER.partition(" ")
        self.over = name in self._events.get(kind, ())

    @property
    def samples(self) -> int:
        """Number of ticks that have samples."""
        return self.record.ticks

    def part(self, condition: Condition, first: int, last: int) -> Trace:
        """The condition on the ticks from `first` to `last`, without working out all others."""
        length = max(0, last + 1 - first)
        if 2 * length > self.record.ticks or self._key(condition) in self._traces:
            whole = self.trace(condition)
            low, true = whole.low[first : first + length], whole.true[first : first + length]
            high = low if whole.low is whole.high else whole.high[first : first + length]
            return Trace(low, high, true, whole.false[first : first + length])
        values = {
            name: self._values(name, unit)[first : first + length]
            for name, unit in condition.signals
        }
        return evaluate(condition, values, length)

    def trace(self, condition: Condition) -> Trace:
        """The condition on every tick. A signal that was not recorded is unknown throughout.

        Raises UsageError if a signal was recorded in another unit than the condition reads it in.
        """
        key = self._key(condition)
        found = self._traces.get(key)
        if found is None:
            values = {name: self._values(name, unit) for name, unit in condition.signals}
            found = self._traces[key] = evaluate(condition, values, self.record.ticks)
        return found

    def occurrences(self, happening: Happening) -> list[Occurrence]:
        """All occurrences, in order of time."""
        found = self._found.get(happening)
        if found is None:
            found = self._found[happening] = self._occurrences(happening)
        return found

    def _occurrences(self, happening: Happening) -> list[Occurrence]:
        pieces = [
            self._events_that_fit(item) if isinstance(item, EventPattern) else self._onsets(item)
            for item in happening.items
        ]
        lists = [piece for several in pieces for piece in several]
        if len(lists) == 1:
            return lists[0]
        return sorted({one for several in lists for one in several}, key=_place)

    def _events_that_fit(self, pattern: EventPattern) -> list[list[Occurrence]]:
        """One list for each name that fits."""
        names = self._events.get(pattern.kind)
        if names is None:
            return []
        found = []
        for name in pattern.fitting(names):
            known = self._known.get((pattern.kind, name))
            if known is None:
                label = names[name][0][1].label
                known = [Occurrence(event.tick, order, label) for order, event in names[name]]
                self._known[pattern.kind, name] = known
            found.append(known)
        return found

    def _onsets(self, item: Onset) -> list[list[Occurrence]]:
        label = f"becomes {item.condition.text}"
        return [[Occurrence(tick, -1, label) for tick in onsets(self.trace(item.condition))]]

    def seconds(self, ticks: float) -> float:
        """A number of ticks in s, rounded once."""
        return ticks / self.rate_hz

    def readings(self, condition: Condition, tick: int) -> str:
        """What the signals of a condition were on a tick, for a sentence; "" for truths alone."""
        shown = []
        for name, symbol in condition.signals[:4]:
            if symbol == "bool":
                continue
            value = float(self._values(name, symbol)[tick])
            text = "no value" if math.isnan(value) else f"{value:.4g}"
            shown.append(f"{name} = {text}")
        return ", ".join(shown)

    @staticmethod
    def _key(condition: Condition) -> tuple[str, tuple[tuple[str, str], ...]]:
        return condition.text, condition.signals  # says all, and is hashed sooner than the tree

    def _values(self, name: str, symbol: str) -> NDArray[np.float64]:
        if name not in self._signals:
            both = self.record.signals, self.record.logic
            self._signals[name] = next((each[name] for each in both if name in each), None)
        signal = self._signals[name]
        if signal is None:
            return np.full(self.record.ticks, math.nan)
        if signal.unit != symbol and unit(signal.unit) != unit(symbol):
            raise UsageError(
                f"signal '{name}' is recorded in {signal.unit}, a requirement reads it in {symbol}"
            )
        return signal.values
