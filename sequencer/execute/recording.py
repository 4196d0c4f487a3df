"""What an executor was given in a flight, and whether another sequence would have done the same."""

from __future__ import annotations

from collections.abc import Callable, Collection
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import numpy as np
from numpy.typing import NDArray

from sequencer import compiling
from sequencer.execute import jit
from sequencer.execute import layout as logic_layout
from sequencer.execute.layout import EventKind, Head
from sequencer.execute.tables import Tables

__all__ = ["KERNEL", "SOURCES", "Given", "Recording", "compiled", "prepare"]

_HERE: Final = Path(__file__).parent
SOURCES: Final = (
    Path(compiling.__file__),
    Path(jit.__file__),
    Path(logic_layout.__file__),
    _HERE / "following.py",
    _HERE / "recording.py",
)
KERNEL: Final = compiling.Kernels("following", SOURCES)
#: decorator of the function of this kernel
compiled = KERNEL.compiled

_EVENTS: Final = 1024
#: rows from one memory that is kept to the next
_EVERY: Final = 128
#: word -> kinds of events
_WORDS: Final = {
    "entered": (EventKind.ENTERED,),
    "took": (EventKind.TOOK,),
    "told": (EventKind.FIRED, EventKind.BLOCKED, EventKind.IGNORED, EventKind.CUT),
}


def prepare(announce: Callable[[str], None] | None = None) -> None:
    """Compile the kernel for this machine unless that has been done for this version."""
    jit.prepare(announce)
    KERNEL.prepare(_load, announce)


def _load() -> None:
    import sequencer.execute.following  # noqa: F401, PLC0415 - importing compiles or loads it


@dataclass(frozen=True, slots=True, eq=False)
class Given:
    """Inputs of every tick that an executor executed, in order.

    clocks   as `sequencer.execute.Executor.tick` takes them, shape (ticks,)
    boots    whether it booted again, with its retained flags, right before
    values, fresh   shape (ticks, inputs)
    """

    clocks: NDArray[np.int64]
    boots: NDArray[np.bool_]
    values: NDArray[np.float64]
    fresh: NDArray[np.bool_]


class Recording:
    """Inputs of an executor in a flight, and what it did on them.

    tables   of the sequence that it executed
    """

    def __init__(self, tables: Tables, given: Given) -> None:
        self._given = given
        self._tables = tables
        ticks, sequence = len(given.clocks), tables.sequence
        fields = len(tables.published)
        self._ways = {name: number for number, name in enumerate(tables.exits)}
        self._positions: dict[str, int] = {}
        self._ends = np.zeros(ticks, dtype=np.int64)
        width = len(sequence.functions) + fields
        self._driven = np.zeros((ticks, width), dtype=np.int64)
        room = _EVENTS
        while True:
            self._events = np.zeros((room, 3), dtype=np.int64)
            self._kept = np.zeros((ticks // _EVERY + 1, len(tables.boot)))
            if self._run(tables, tables.boot.copy(), 0, learn=True) >= 0:
                break
            room *= 8
        self._begins: dict[tuple[str, str], int] = {}

    def first_difference(
        self, tables: Tables, before: tuple[str, Collection[str]] | None = None
    ) -> int | None:
        """The first tick on which another sequence does something else, counted as they were given.

        None if there is none: then, in that flight, everything outside the computer would have been
        the same to the last bit. The sequences must have the same inputs, states, flags, functions
        and inhibits by name, and the same publication; exits may be missing.

        before   ("entered", states), ("took", exits) or ("told", functions): until one of these
                 was entered, taken, or commanded, nothing can differ, nor anything that is
                 remembered. Their estimates are the same then
        """
        first = 0
        if before is not None:
            word, names = before
            first = min((self._begin(word, name) for name in names), default=0) // _EVERY
        memory = self._memory(tables, first)
        found = self._run(tables, memory, first * _EVERY, learn=False)
        return None if found == len(self._given.clocks) else found

    def _begin(self, word: str, name: str) -> int:
        """The row of the first such event; the last row where there is none."""
        if (word, name) not in self._begins:
            sequence = self._tables.sequence
            pulses = [f.name for f in sequence.functions.values() if f.kind != "servo"]
            among = {"entered": tuple(sequence.states), "took": tuple(self._ways), "told": pulses}
            row = 0  # what is a servo: nothing is known of when it is told
            if name in among[word]:
                count = self._ends[-1] if len(self._ends) else 0
                kinds, about, _ = self._events[:count].T
                hits = np.isin(kinds, _WORDS[word]) & (about == list(among[word]).index(name))
                events = np.flatnonzero(hits)
                row = max(len(self._ends) - 1, 0)
                if len(events):
                    row = int(np.searchsorted(self._ends, events[0], side="right"))
            self._begins[word, name] = row
        return self._begins[word, name]

    def _memory(self, tables: Tables, index: int) -> NDArray[np.float64]:
        """The memory of another sequence as it is where that of the recorded one was kept."""
        memory = tables.boot.copy()
        if index == 0:
            return memory
        ours, theirs, kept = self._tables.code, tables.code, self._kept[index]
        holds, loops, end = Head.M_HOLDS, Head.M_LOOPS, Head.M_CONSTANTS
        memory[: theirs[holds]] = kept[: ours[holds]]
        counted = {way: kept[ours[holds] + i] for i, way in enumerate(self._tables.exits)}
        for i, way in enumerate(tables.exits):
            memory[theirs[holds] + i] = counted[way]
        memory[theirs[loops] : theirs[end]] = kept[ours[loops] : ours[end]]
        return memory

    def _run(self, tables: Tables, memory: NDArray[np.float64], first: int, *, learn: bool) -> int:
        _load()
        from sequencer.execute.following import run_over  # noqa: PLC0415 - as above
        from sequencer.execute.interpret import tick  # noqa: PLC0415 - as above

        code, head = tables.code, Head
        sequence = tables.sequence
        retained = np.zeros(len(tables.boot), dtype=np.bool_)
        retained[[tables.flags[name] for name in tables.retained]] = True
        positions = np.zeros(max(tables.positions, default=0) + 1, dtype=np.int64)
        for number, name in tables.positions.items():
            positions[number] = self._positions.setdefault(name, len(self._positions))
        ways = [self._ways.setdefault(name, len(self._ways)) for name in tables.exits]
        pulses = [f for f in sequence.functions.values() if f.kind != "servo"]
        servos = len(sequence.functions) - len(pulses)
        publication = sequence.publication
        given = self._given
        return int(
            run_over(
                *(tick, code, tables.numbers, tables.boot, retained),
                memory,
                np.zeros(2 + tables.most_events, dtype=np.int64),
                np.zeros((1 + tables.most_events, 3), dtype=np.int64),
                np.array(ways, dtype=np.int64),
                positions,
                np.arange(len(pulses), dtype=np.int64) + code[head.M_UNTIL],
                np.arange(servos, dtype=np.int64) + code[head.M_DEMAND],
                np.array(tables.published, dtype=np.int64).reshape(-1, 2),
                0 if publication is None else publication.period_ticks,
                *(given.clocks, given.boots, given.values, given.fresh, first),
                learn,
                *(self._ends, self._events, self._driven),
                self._kept,
                _EVERY,
            )
        )
