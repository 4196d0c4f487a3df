"""Flags and states of computers as signals, worked out from the events when they are asked for.

Nothing is sampled for them during a flight: the events say when a flag changed, when a state was
entered and when the power went.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

import numpy as np

from sequencer.record.model import Event, Signal

__all__ = ["LogicSignals", "Memory", "flag_signal", "state_signal"]


def flag_signal(computer: str, flag: str) -> str:
    """Name of the signal of a flag: ``pad_counting``."""
    return f"{computer}_{flag}"


def state_signal(computer: str, state: str) -> str:
    """Name of the signal that tells whether a computer is in a state: ``flight_in_coast``."""
    return f"{computer}_in_{state}"


@dataclass(frozen=True, slots=True)
class Memory:
    """What one computer remembers, as far as its events tell.

    flags         (name, value after a boot, whether it survives a loss of power)
    states        names of its states
    power_losses  labels of the events with which it loses power; until the event "booted" it then
                  is in no state and its flags read 0
    """

    computer: str
    flags: tuple[tuple[str, bool, bool], ...]
    states: tuple[str, ...]
    power_losses: frozenset[str] = frozenset()


class LogicSignals(Mapping[str, Signal]):
    """Signal by name, made on every look-up: values 0 and 1, shape (ticks,), unit "bool".

    What happens on a tick shows on that tick; of several things on one tick the last counts.
    """

    def __init__(
        self, events: tuple[Event, ...], ticks: int, computers: tuple[Memory, ...] = ()
    ) -> None:
        self._events = events
        self._ticks = ticks
        self._flags = {
            flag_signal(memory.computer, name): (memory, name, initial, retained)
            for memory in computers
            for name, initial, retained in memory.flags
        }
        self._states = {
            state_signal(memory.computer, name): (memory, name)
            for memory in computers
            for name in memory.states
        }

    def __getitem__(self, name: str) -> Signal:
        """The signal. Raises KeyError for a name that is neither a flag's nor a state's."""
        steps = self._of_flag(name) if name in self._flags else self._of_state(name)
        values = np.zeros(self._ticks)
        since, value = 0, 0.0
        for tick, new in steps:
            if new != value:
                values[since:tick] = value
                since, value = tick, new
        values[since:] = value
        return Signal(name, "bool", values)

    def __iter__(self) -> Iterator[str]:
        yield from self._flags
        yield from self._states

    def __len__(self) -> int:
        return len(self._flags) + len(self._states)

    def _of_flag(self, signal: str) -> Iterator[tuple[int, float]]:
        memory, name, initial, retained = self._flags[signal]
        about = f"{memory.computer}.{name}"
        held = initial
        yield 0, float(initial)
        for event in self._events:
            if event.name == about and event.kind in ("set", "cleared"):
                held = event.kind == "set"
                yield event.tick, float(held)
            elif event.label in memory.power_losses:
                yield event.tick, 0.0
            elif event.kind == "booted" and event.name == memory.computer:
                held = held if retained else initial
                yield event.tick, float(held)

    def _of_state(self, signal: str) -> Iterator[tuple[int, float]]:
        memory, name = self._states[signal]
        about = f"{memory.computer}.{name}"
        ours = f"{memory.computer}."
        for event in self._events:
            if event.kind == "entered" and event.name.startswith(ours):
                yield event.tick, float(event.name == about)
            elif event.label in memory.power_losses:
                yield event.tick, 0.0
