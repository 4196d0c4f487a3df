"""Collects the events and the truth of one flight while it is flown."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from sequencer.flight.samples import Kept
from sequencer.record import Event
from sequencer.scenario import Recording, Scenario
from sequencer.vehicle.capacity import SENSORS
from sequencer.world.layout import OUT
from sequencer.world.memory import Memory

__all__ = ["FACTS", "Recorder", "names_of_facts"]

#: fields of OUT whose change from 0 to 1 is an event -> its kind; causes before their effects
FACTS: Mapping[str, str] = {
    "spent": "acted",
    "released": "released",
    "lifted": "liftoff",
    "burning": "lit",
    "burst": "burst",
    "burnt": "burnout",
    "ejected": "ejected",
    "separated": "separated",
    "apogee": "apogee",
    "deployed": "deployed",
    "opened": "opened",
    "hit_obstacle": "obstacle",
    "part1_down": "booster_down",
    "down": "touchdown",
}
#: the beginning of OUT: all that there is to keep where nothing flies
_ANSWERS = np.dtype([("value", "f8", (SENSORS,))])


class Recorder:
    """Keeps one record of OUT per world tick, and events as they come."""

    def __init__(self, scenario: Scenario, world: Memory) -> None:
        self._out = world.out
        layout = _ANSWERS if isinstance(scenario.source, Recording) else OUT
        self._kept_bytes = np.zeros((scenario.stop_ticks, layout.itemsize), dtype=np.uint8)
        self._now = world.out_bytes[: layout.itemsize]
        self._events: list[Event] = []
        self._counts: dict[str, int] = {}
        self.down_tick: int | None = None
        self._tick = 0
        self._names = names_of_facts(scenario)
        # all facts lie side by side at the end of OUT: one look tells whether any changed
        start = OUT.fields["released"][1]  # type: ignore[index]
        self._facts = world.out_bytes[start:].view(np.int64)
        self._facts_were = self._facts.tobytes()
        self._was = {field: np.array(world.out[field], ndmin=1) for field in FACTS}

    @property
    def events(self) -> tuple[Event, ...]:
        """All events so far."""
        return tuple(self._events)

    @property
    def height(self) -> float:
        """Height of the vehicle's lowest point above the ground now, m."""
        return float(self._out["height"])

    def count(self, label: str) -> int:
        """How many events with this label have come so far."""
        return self._counts.get(label, 0)

    def begin(self, tick: int) -> None:
        """Events noted from here on belong to this tick."""
        self._tick = tick

    def note(self, kind: str, name: str, detail: str = "") -> None:
        """Keep an event of the present tick."""
        event = Event(self._tick, kind, name, detail)
        self._events.append(event)
        self._counts[event.label] = self._counts.get(event.label, 0) + 1

    def keep(self) -> None:
        """Keep the truth of the present tick."""
        # as bytes: a third of the time that numpy takes to copy a record field by field
        self._kept_bytes[self._tick] = self._now

    def after(self, tick: int) -> None:
        """Note what the world did in the step that ended at `tick`."""
        self._tick = tick
        facts = self._facts.tobytes()
        if facts == self._facts_were:
            return
        self._facts_were = facts
        for field, kind in FACTS.items():
            now = np.array(self._out[field], ndmin=1)
            was = self._was[field]
            for i in np.flatnonzero((now == 1) & (was == 0)).tolist():
                names = self._names.get(field)
                self.note(kind, names[i] if names is not None else "", "")
            self._was[field] = now
        if self.down_tick is None and self._out["down"]:
            self.down_tick = tick

    def left(self, ticks: int) -> Kept:
        """What there is of a flight that ended before this tick."""
        rows = self._kept_bytes[:ticks].view(np.float64)

        def column(word: int) -> NDArray[np.float64]:
            return np.ascontiguousarray(rows[:, word])

        return Kept(self.events, ticks, self.down_tick, column)


def names_of_facts(scenario: Scenario) -> dict[str, tuple[str, ...]]:
    """Field of OUT -> names by index, for the facts that come more than once."""
    places = scenario.places
    found = dict.fromkeys(("burning", "burst", "burnt", "ejected"), places.motors)
    found.update(dict.fromkeys(("deployed", "opened"), places.parachutes))
    return found | {"spent": places.loads}
