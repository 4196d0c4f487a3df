"""A flight in which the decisions of every computer are watched."""

from __future__ import annotations

from dataclasses import dataclass, field

from sequencer.execute.deciding import DecidingExecutor
from sequencer.flight.model import ModelTarget
from sequencer.flight.result import Seen
from sequencer.sequence import Sequence as FlightLogic

__all__ = ["Watch"]


class _WatchedTarget(ModelTarget):
    """The model on the executor that looks at decisions."""

    def __init__(self, sequence: FlightLogic, executor: DecidingExecutor) -> None:
        self._sequence = sequence
        self._executor = executor
        self._name = "compiled"


@dataclass(slots=True)
class Watch:
    """Makes the targets of one flight, and keeps what their decisions were seen with."""

    _watched: list[DecidingExecutor] = field(default_factory=list)

    def target(self, sequence: FlightLogic) -> ModelTarget:
        """The target for one computer."""
        executor = DecidingExecutor(sequence)
        self._watched.append(executor)
        return _WatchedTarget(sequence, executor)

    def begin(self, tick: int) -> None:
        """The world tick that what is seen from now on is stamped with."""
        for executor in self._watched:
            executor.now = tick

    def seen(self) -> tuple[Seen, ...]:
        """What was seen, by computer."""
        return tuple(
            Seen(each.sequence.name, each.sequence.path, each.sequence.digest, each.seen)
            for each in self._watched
        )
