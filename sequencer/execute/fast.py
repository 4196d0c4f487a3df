"""The compiled executor: a sequence's tables, interpreted in machine code."""

from __future__ import annotations

import typing
from collections.abc import Iterable, Mapping

import numpy as np
from numpy.typing import NDArray

from sequencer.execute.interface import Outputs
from sequencer.execute.jit import prepare
from sequencer.execute.layout import ENTERED, STATE, Head
from sequencer.execute.tables import tables_of
from sequencer.execute.words import Words
from sequencer.expressions import Node
from sequencer.sequence.model import Sequence

__all__ = ["CompiledExecutor"]

_NAN = float("nan")


class CompiledExecutor:
    """Does what `ReferenceExecutor` does, bit for bit, some ten times as fast."""

    def __init__(self, sequence: Sequence, watched: Iterable[Node] = ()) -> None:
        prepare()
        from sequencer.execute.interpret import tick as run  # noqa: PLC0415 - compiles or loads

        self._run = run
        self.sequence = sequence
        self.tables = tables = tables_of(sequence, watched)
        self._memory = tables.boot.copy()
        self._queue = np.zeros(2 + tables.most_events, dtype=np.int64)
        self._events = np.zeros((1 + tables.most_events, 3), dtype=np.int64)
        self._values = np.zeros(len(sequence.inputs), dtype=np.float64)
        self._fresh = np.zeros(len(sequence.inputs), dtype=np.bool_)
        head, functions = tables.code, sequence.functions.values()
        pulses = [function.name for function in functions if function.kind != "servo"]
        servos = [function.name for function in functions if function.kind == "servo"]
        self._states = tuple(sequence.states)
        self._pulses = len(pulses)
        # the demands of the servos lie behind the pulses: one look gives both
        self._driven = self._memory[
            head[Head.M_UNTIL] : head[Head.M_UNTIL] + len(pulses) + len(servos)
        ]
        self._words = Words(tables)
        self.boot()

    def boot(self, retained: Mapping[str, bool] | None = None) -> None:
        """Forget everything but the retained flags; the next tick is tick 0."""
        self._memory[:] = self.tables.boot
        survivors = retained or {}
        for name in self.tables.retained:
            if name in survivors:
                self._memory[self.tables.flags[name]] = float(survivors[name])

    def tick(
        self, clock: int, values: typing.Sequence[float], fresh: typing.Sequence[bool]
    ) -> Outputs:
        """Execute one tick."""
        tables, memory = self.tables, self._memory
        self._values[:] = values
        self._fresh[:] = fresh
        self._run(
            *(tables.code, tables.numbers, memory, self._queue, self._events),
            *(clock, self._values, self._fresh),
        )
        count = self._events.item(0)
        driven = self._driven.tolist()
        return Outputs(
            self._states[int(memory.item(STATE))],
            self._told(count) if count else (),
            tuple([until > 0.0 for until in driven[: self._pulses]]),
            tuple(driven[self._pulses :]),
            self._message(clock),
        )

    def _told(self, count: int) -> tuple[tuple[str, str, str], ...]:
        """The events of a tick in words."""
        words = self._words
        return tuple(
            [words.tell(*event) for event in self._events[1 : count + 1].tolist()],
        )

    def _message(self, clock: int) -> tuple[float, ...] | None:
        publication = self.sequence.publication
        if publication is None or clock % publication.period_ticks != 0:
            return None
        item = self._memory.item
        return tuple([_NAN if item(bad) else item(place) for place, bad in self.tables.published])

    def flags(self) -> dict[str, bool]:
        """All flags as the last tick left them."""
        return {name: bool(self._memory[at]) for name, at in self.tables.flags.items()}

    def remembered(self) -> NDArray[np.float64]:
        """A copy of all that it remembers after the last tick, for `registers` to tell later."""
        return self._memory.copy()

    def registers(self, remembered: NDArray[np.float64] | None = None) -> dict[str, float]:
        """Everything that it remembers; the keys are those of `ReferenceExecutor.registers`.

        remembered   as it was after some earlier tick
        """
        memory = (self._memory if remembered is None else remembered).tolist()
        found = {"state": memory[STATE], "entered": memory[ENTERED]}
        found.update({name: memory[at] for name, at in self.tables.registers.items()})
        return found
