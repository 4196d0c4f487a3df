"""Every event that a flight of a scenario can come to, by number, and back into words."""

from __future__ import annotations

from collections.abc import Callable, Iterable

import numpy as np
from numpy.typing import NDArray

from sequencer.flight.batch.layout import NONE
from sequencer.record import Event

__all__ = ["Detail", "Labels", "no_detail"]

#: whole number, float -> the remark beside an event
Detail = Callable[[int, float], str]


def no_detail(_whole: int, _real: float) -> str:
    """Of an event that says it all."""
    return ""


class Labels:
    """Kind, name and detail of events; a label's number is its place."""

    def __init__(self) -> None:
        self._entries: list[tuple[str, str, Detail]] = []
        self._first: dict[str, int] = {}
        self._canon: list[int] = []

    def add(self, kind: str, names: Iterable[str], detail: Detail = no_detail) -> int:
        """Number of the first of such events, one for each name, in order."""
        at = len(self._entries)
        for name in names:
            number = len(self._entries)
            self._entries.append((kind, name, detail))
            self._canon.append(self._first.setdefault(Event(0, kind, name).label, number))
        return at

    def find(self, label: str | None) -> int:
        """The number under which events with this label count; NONE for one that never comes."""
        return NONE if label is None else self._first.get(label, NONE)

    @property
    def canon(self) -> NDArray[np.int64]:
        """Number -> the first that reads the same, shape (labels,)."""
        return np.array(self._canon, dtype=np.int64)

    def events(self, rows: NDArray[np.int64], reals: NDArray[np.float64]) -> tuple[Event, ...]:
        """Events from the rows that a flight left: (tick, label, detail), and a float each."""
        found = []
        for (tick, label, whole), real in zip(rows.tolist(), reals.tolist(), strict=True):
            kind, name, detail = self._entries[label]
            found.append(Event(tick, kind, name, detail(whole, real)))
        return tuple(found)
