"""Strategies for the inputs of one sequence, flown without a vehicle.

A stream says what a computer reads, tick by tick. It is drawn as a list of changes, so that it
shrinks to few: an input takes another value, goes bad, goes silent, or comes back. Values lie on
and beside the limits of the sequence, times between changes on and beside the holds of its exits.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field
from typing import Any

from hypothesis import strategies as st

from sequencer.execute import CompiledExecutor, Executor, Outputs
from sequencer.sequence import Sequence
from sequencer.sequence.ticks import ticks
from sequencer.testing.streams import Step
from sequencer.units import unit

__all__ = ["InputStream", "input_streams", "run"]

#: what stands for the value of an input that gives none
SILENT = "silent"
#: what an input reads, in SI (a switch 0 or 1), or SILENT
Reading = float | str


@dataclass(frozen=True, slots=True)
class InputStream:
    """What a sequence reads; iterating gives a `Step` for each tick.

    changes   (ticks since the change before, input, what it reads from then on); before the first
              every input reads 0
    rest      ticks after the last change, at least 1
    """

    sequence: Sequence = field(repr=False)
    changes: tuple[tuple[int, str, Reading], ...]
    rest: int

    def __len__(self) -> int:
        return sum(change[0] for change in self.changes) + self.rest

    def __iter__(self) -> Iterator[Step]:
        inputs = self.sequence.inputs
        every = [
            1 if each.period_s is None else ticks(each.period_s, self.sequence.rate_hz)
            for each in inputs.values()
        ]
        readings: dict[str, Reading] = dict.fromkeys(inputs, 0.0)
        clock = 0
        for wait, name, reading in (*self.changes, (self.rest, "", 0.0)):
            values = tuple(0.0 if isinstance(one, str) else one for one in readings.values())
            speaks = [not isinstance(one, str) for one in readings.values()]
            for _ in range(wait):
                fresh = tuple(
                    one and clock % period == 0 for one, period in zip(speaks, every, strict=True)
                )
                yield Step(clock, values, fresh)
                clock += 1
            if name:
                readings[name] = reading

    def __repr__(self) -> str:
        told, clock = [], 0
        for wait, name, reading in self.changes:
            clock += wait
            now = reading if isinstance(reading, str) else f"= {reading:g}"
            told.append(f"tick {clock} {name} {now}")
        return f"<{self.sequence.name}: {'; '.join((*told, f'to tick {len(self)}'))}>"

    def _repr_pretty_(self, printer: Any, cycle: bool) -> None:  # noqa: ANN401, FBT001
        """How Hypothesis prints an example that failed."""
        del cycle
        printer.text(repr(self))


def input_streams(
    sequence: Sequence, *, changes: int = 10, seconds: float = 2.0, bad: bool = True
) -> st.SearchStrategy[InputStream]:
    """Strategy for the inputs of a sequence.

    changes   at most so many
    seconds   longest time between two of them, s
    bad       whether inputs may read NaN, and fall silent

    The simplest stream is one tick in which nothing has happened.
    """
    waits = st.sampled_from(_waits(sequence, seconds))
    readings = {
        name: st.sampled_from(_readings(sequence, name, bad=bad)) for name in sequence.inputs
    }

    def change(name: str) -> st.SearchStrategy[tuple[int, str, Reading]]:
        return st.tuples(waits, st.just(name), readings[name])

    one = st.sampled_from(list(readings)).flatmap(change) if readings else st.nothing()
    listed = st.lists(one, max_size=changes if readings else 0)
    return st.tuples(listed, waits).map(
        lambda drawn: InputStream(sequence, tuple(drawn[0]), drawn[1])
    )


def _waits(sequence: Sequence, seconds: float) -> list[int]:
    """Times between changes in ticks, ascending: on and beside every hold."""
    longest = max(1, round(seconds * sequence.rate_hz))
    exits = [*sequence.common_exits]
    for state in sequence.states.values():
        exits += state.exits
    holds = {each.hold_ticks + beside for each in exits for beside in (-1, 0, 1)}
    return sorted({1, longest // 4 or 1, longest, *(one for one in holds if 0 < one < longest)})


def _readings(sequence: Sequence, name: str, *, bad: bool) -> list[Reading]:
    """What an input may read, the simplest first."""
    symbol = sequence.inputs[name].unit
    unusual: list[Reading] = [math.nan, SILENT] if bad else []
    if symbol == "bool":
        return [0.0, 1.0, *unusual]
    dimension = unit(symbol).dimension
    found = {0.0}
    for limit in sequence.limits.values():
        if unit(limit.unit).dimension == dimension:
            found |= {limit.value, 0.9 * limit.value, 1.1 * limit.value, -limit.value}
    ordinary = sorted(found, key=lambda value: (abs(value), value))
    largest = max(1.0, abs(ordinary[-1]))
    return [*ordinary, 2.0 * largest, -2.0 * largest, *unusual]


def run(
    sequence: Sequence,
    steps: Iterable[Step],
    make: Callable[[Sequence], Executor] = CompiledExecutor,
) -> list[Outputs]:
    """What a sequence does with a stream, from its boot: the outputs of each tick.

    make   executor to run it on; see also `first_difference`, which holds one against ours
    """
    executor = make(sequence)
    executor.boot()
    return [executor.tick(step.clock, step.values, step.fresh) for step in steps]
