"""Flags and states of computers as signals, worked out from the events when they are asked for.

Nothing is sampled for them during a flight: the events say when a flag changed, when a state was
entered and when the power went.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import lru_cache

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
        self._computers = computers
        self._steps: _Steps | None = None

    def __getitem__(self, name: str) -> Signal:
        """The signal. Raises KeyError for a name that is neither a flag's nor a state's."""
        memory, about, flag = _meanings(self._computers)[name]
        if self._steps is None:
            self._steps = _steps(self._events, self._computers)
        turns = self._steps.turns.get(memory.computer, [])
        if flag is None:
            steps = _of_state(about, self._steps.entered.get(memory.computer, []), turns)
        else:
            steps = _of_flag(flag, self._steps.flags.get(about, []), turns)
        values = np.zeros(self._ticks)
        since, value = 0, 0.0
        for tick, new in steps:
            if new != value:
                values[since:tick] = value
                since, value = tick, new
        values[since:] = value
        return Signal(name, "bool", values)

    def __contains__(self, name: object) -> bool:
        return name in _meanings(self._computers)

    def __iter__(self) -> Iterator[str]:
        return iter(_meanings(self._computers))

    def __len__(self) -> int:
        return len(_meanings(self._computers))


@dataclass(frozen=True, slots=True)
class _Steps:
    """What the events say, as (place among all events, tick, what).

    turns     computer -> True where it loses its power, False where it has booted
    flags     "computer.flag" -> its new value
    entered   computer -> "computer.state" that it entered
    """

    turns: dict[str, list[tuple[int, int, bool]]]
    flags: dict[str, list[tuple[int, int, bool]]]
    entered: dict[str, list[tuple[int, int, str]]]


@lru_cache(maxsize=8)
def _meanings(
    computers: tuple[Memory, ...],
) -> dict[str, tuple[Memory, str, tuple[bool, bool] | None]]:
    """Signal -> whose it is, what events call it, and (value after a boot, retained) of a flag."""
    found: dict[str, tuple[Memory, str, tuple[bool, bool] | None]] = {
        flag_signal(memory.computer, name): (memory, f"{memory.computer}.{name}", (at_boot, keeps))
        for memory in computers
        for name, at_boot, keeps in memory.flags
    }
    for memory in computers:
        for name in memory.states:
            found[state_signal(memory.computer, name)] = (memory, f"{memory.computer}.{name}", None)
    return found


def _steps(events: tuple[Event, ...], computers: tuple[Memory, ...]) -> _Steps:
    found = _Steps({}, {}, {})
    losses: dict[str, list[str]] = {}
    for memory in computers:
        for label in memory.power_losses:
            losses.setdefault(label, []).append(memory.computer)
    kinds = {label.partition(" ")[0] for label in losses}
    for order, event in enumerate(events):
        kind = event.kind
        if kind in ("set", "cleared"):
            found.flags.setdefault(event.name, []).append((order, event.tick, kind == "set"))
        elif kind == "entered":
            computer = event.name.partition(".")[0]
            found.entered.setdefault(computer, []).append((order, event.tick, event.name))
        elif kind == "booted":
            found.turns.setdefault(event.name, []).append((order, event.tick, False))
        elif kind in kinds:
            for computer in losses.get(event.label, ()):
                found.turns.setdefault(computer, []).append((order, event.tick, True))
    return found


def _of_flag(
    flag: tuple[bool, bool],
    changes: list[tuple[int, int, bool]],
    turns: list[tuple[int, int, bool]],
) -> Iterator[tuple[int, float]]:
    """(tick, value) of every step, in order."""
    at_boot, retained = flag
    held = at_boot
    yield 0, float(at_boot)
    both = [(order, tick, True, value) for order, tick, value in changes]
    both += [(order, tick, False, lost) for order, tick, lost in turns]
    for _, tick, changed, what in sorted(both):
        if changed:
            held = what
            yield tick, float(held)
        elif what:
            yield tick, 0.0
        else:
            held = held if retained else at_boot
            yield tick, float(held)


def _of_state(
    about: str, entered: list[tuple[int, int, str]], turns: list[tuple[int, int, bool]]
) -> Iterator[tuple[int, float]]:
    """(tick, value) of every step, in order."""
    both = [(order, tick, float(name == about)) for order, tick, name in entered]
    both += [(order, tick, 0.0) for order, tick, lost in turns if lost]
    for _, tick, value in sorted(both):
        yield tick, value
