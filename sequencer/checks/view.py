"""A flight record as requirements see it: conditions evaluated once, events found once."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from sequencer.checks.conditions import Condition, Trace, evaluate
from sequencer.checks.happenings import EventPattern, Happening, onsets
from sequencer.errors import UsageError
from sequencer.record import FLIGHT_OVER, Event, FlightRecord
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


class View:
    """One record; keeps what it has worked out for the next requirement."""

    def __init__(self, record: FlightRecord) -> None:
        self.record = record
        self.rate_hz = record.rate_hz
        #: last tick about which everything is known, and last on which anything came: what the
        #: world does in its last step is noted one tick ahead
        self.last = record.ticks - 1
        self.end = max([self.last, *(event.tick for event in record.events)])
        #: nothing more can come, whatever was not given a deadline
        self.over = record.first(FLIGHT_OVER) is not None
        self._traces: dict[tuple[str, tuple[tuple[str, str], ...]], Trace] = {}
        self._found: dict[Happening, list[Occurrence]] = {}
        self._by_kind: dict[str, list[tuple[int, Event]]] = {}
        for order, event in enumerate(record.events):
            self._by_kind.setdefault(event.kind, []).append((order, event))

    @property
    def samples(self) -> int:
        """Number of ticks that have samples."""
        return self.record.ticks

    def trace(self, condition: Condition) -> Trace:
        """The condition on every tick. A signal that was not recorded is unknown throughout.

        Raises UsageError if a signal was recorded in another unit than the condition reads it in.
        """
        key = (condition.text, condition.signals)  # says all, and is hashed sooner than the tree
        if key not in self._traces:
            values = {name: self._values(name, unit) for name, unit in condition.signals}
            self._traces[key] = evaluate(condition, values, self.record.ticks)
        return self._traces[key]

    def occurrences(self, happening: Happening) -> list[Occurrence]:
        """All occurrences, in order of time."""
        if happening not in self._found:
            found: set[Occurrence] = set()
            for item in happening.items:
                if isinstance(item, EventPattern):
                    found.update(
                        Occurrence(event.tick, order, event.label)
                        for order, event in self._by_kind.get(item.kind, ())
                        if item.fits_name(event.name)
                    )
                else:
                    text = item.condition.text
                    ticks = onsets(self.trace(item.condition))
                    found.update(Occurrence(tick, -1, f"becomes {text}") for tick in ticks)
            self._found[happening] = sorted(found)
        return self._found[happening]

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

    def _values(self, name: str, symbol: str) -> NDArray[np.float64]:
        signal = self.record.signals.get(name) or self.record.logic.get(name)
        if signal is None:
            return np.full(self.record.ticks, math.nan)
        if signal.unit != symbol and unit(signal.unit) != unit(symbol):
            raise UsageError(
                f"signal '{name}' is recorded in {signal.unit}, a requirement reads it in {symbol}"
            )
        return signal.values
