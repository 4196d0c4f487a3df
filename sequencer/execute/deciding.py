"""The compiled executor, watched: which leaves of which decisions were true, false or unknown."""

from __future__ import annotations

import typing
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from itertools import accumulate

import numpy as np

from sequencer.execute.fast import CompiledExecutor
from sequencer.execute.interface import Outputs
from sequencer.execute.jit import DECISIONS
from sequencer.execute.jit import prepare as prepare_logic
from sequencer.execute.layout import ENTERED, STATE
from sequencer.sequence.decisions import decisions_of
from sequencer.sequence.model import Sequence

__all__ = ["DecidingExecutor", "Sight", "prepare"]


@dataclass(frozen=True, slots=True)
class Sight:
    """What a decision was seen with.

    decision  index in `decisions_of(sequence)`
    taken     whether it was the exit that was taken on that tick
    leaves    one byte for each leaf: FALSE, TRUE or UNKNOWN of `sequencer.sequence.decisions`
    """

    decision: int
    taken: bool
    leaves: bytes


def prepare(announce: Callable[[str], None] | None = None) -> None:
    """Compile for this machine unless that has been done for this version."""
    prepare_logic(announce)
    DECISIONS.prepare(_load, announce)


def _load() -> None:
    import sequencer.execute.observing  # noqa: F401, PLC0415 - importing compiles or loads it


class DecidingExecutor(CompiledExecutor):
    """Executes as `CompiledExecutor` does, and keeps what each decision was seen with.

    now    what the caller counts time with
    seen   what was seen -> `now` when it was seen first, in that order
    """

    def __init__(self, sequence: Sequence) -> None:
        prepare()
        from sequencer.execute.observing import observe  # noqa: PLC0415 - compiles or loads

        self.now = 0
        self.seen: dict[Sight, int] = {}
        self._before = np.zeros(2, dtype=np.int64)
        decisions = decisions_of(sequence)
        super().__init__(sequence, [leaf for one in decisions for leaf in one.leaves])
        self._observe = observe
        self._sizes = [len(decision.leaves) for decision in decisions]
        self._kept = np.zeros(len(sequence.flags), dtype=np.float64)
        self._first = np.array([0, *accumulate(self._sizes)], dtype=np.int64)
        self._leaves = np.array(self.tables.watched, dtype=np.int64)
        self._last = np.full(len(self._leaves), -1, dtype=np.int8)
        widest = max(self._sizes, default=0)
        self._found = np.zeros((1 + len(decisions), 2 + widest), dtype=np.int64)

    def boot(self, retained: Mapping[str, bool] | None = None) -> None:
        """As `CompiledExecutor.boot`; what was seen stays."""
        super().boot(retained)
        self._before[0] = self._memory[STATE]
        self._before[1] = -1

    def tick(
        self, clock: int, values: typing.Sequence[float], fresh: typing.Sequence[bool]
    ) -> Outputs:
        """Execute one tick and look at its decisions."""
        outputs = super().tick(clock, values, fresh)
        count = self._observe(
            *(self.tables.code, self._memory, self._events, self._fresh, self._before),
            *(self._kept, self._first, self._leaves, self._last, self._found),
        )
        self._before[0] = self._memory[STATE]
        self._before[1] = self._memory[ENTERED]
        if count:
            for decision, taken, *leaves in self._found[1 : count + 1].tolist():
                sight = Sight(decision, bool(taken), bytes(leaves[: self._sizes[decision]]))
                self.seen.setdefault(sight, self.now)
        return outputs
