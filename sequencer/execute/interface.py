"""What every executor of a sequence takes and gives, whatever it is made of."""

from __future__ import annotations

import typing
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Protocol

from sequencer.sequence.model import Sequence

__all__ = ["Executor", "Outputs"]


@dataclass(frozen=True, slots=True)
class Outputs:
    """What one tick came to.

    state     name of the state after the tick
    events    (kind, name, detail), in the order in which they happened; names as the sequence
              declares them
    on        one entry per function with a pulse (all but servos), in order of declaration
    demands   one entry per servo function, in order of declaration; rad, or 0..1; never NaN
    message   published fields where a publication is due on this tick, else None; a bad value is
              NaN, a truth 0.0 or 1.0
    """

    state: str
    events: tuple[tuple[str, str, str], ...]
    on: tuple[bool, ...]
    demands: tuple[float, ...]
    message: tuple[float, ...] | None


class Executor(Protocol):
    """Executes one sequence, tick by tick. docs/semantics.md says what a tick means."""

    sequence: Sequence

    def boot(self, retained: Mapping[str, bool] | None = None) -> None:
        """Start anew: the next tick is tick 0.

        `retained` holds flags as the last finished tick left them; only those that are declared
        retained are taken from it.
        """

    def tick(
        self, clock: int, values: typing.Sequence[float], fresh: typing.Sequence[bool]
    ) -> Outputs:
        """Execute one tick.

        clock     ticks of the computer's clock since boot; grows from call to call, leaving out
                  ticks that were too late to run
        values    one number per input in order of declaration, in the input's SI unit (truths as
                  0.0 and 1.0); read only where `fresh` says so
        fresh     whether the input was refreshed since the last executed tick
        """

    def flags(self) -> dict[str, bool]:
        """All flags as the last tick left them."""

    def registers(self) -> dict[str, float]:
        """Everything that it remembers, by name; see `ReferenceExecutor.registers` for the keys."""
