"""A target that runs the model beside another target, and keeps where they first differ.

Both get the same ticks and the same inputs; what the other target answers is what flies. After
the first difference the model's flight is no longer the one that is flown, so nothing is compared
any more; the flight goes on and is judged.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from sequencer.execute import CompiledExecutor, Outputs
from sequencer.execute.layout import ENTERED
from sequencer.flight.agreement import Agreement, tolerated_ticks
from sequencer.flight.explaining import Moment
from sequencer.flight.target import Boot, Target
from sequencer.flight.telling import Found, Tick, tell
from sequencer.record import Divergence
from sequencer.sequence import Sequence as FlightLogic

__all__ = ["Beside"]

#: ticks that are kept to look back at
_KEPT = 64

#: (world tick, clock, state and clock of its entry before, fresh, remembered, model's, its)
_Kept = tuple[int, int, str, int, Sequence[bool], NDArray[np.float64], Outputs, Outputs]


class Beside:
    """Another target, with the model beside it.

    now   world tick that the caller is at; a difference is stamped with it
    """

    def __init__(self, target: Target, sequence: FlightLogic) -> None:
        self.capabilities = target.capabilities
        self.tolerance_s = target.tolerance_s
        self.now = 0
        self._target = target
        self._sequence = sequence
        self._model = CompiledExecutor(sequence)
        ticks = tolerated_ticks(target.tolerance_s, sequence.rate_hz)
        self._agreement = Agreement(sequence, ticks)
        # a difference may be told so much later than it began
        period = 0 if sequence.publication is None else sequence.publication.period_ticks
        self._kept: deque[_Kept] = deque(maxlen=_KEPT + (period + ticks if ticks else 0))
        self._state = sequence.start
        self._entered: int | None = None
        self._due = self._late = 0  # the clock of the next tick; how many were left out
        self._last_late: int | None = None
        self._boot = -1
        self._found: Found | None = None

    def reset(self, boot: Boot) -> None:
        """Boot both; the model keeps its own retained flags."""
        self._target.reset(boot)
        self._boot += 1
        if self._found is not None:
            self._found.over = True
            return
        flags = self._model.flags() if boot is Boot.WARM else None
        self._model.boot(flags)
        self._agreement.boot()
        self._kept.clear()
        self._state = self._sequence.start
        self._entered = None
        self._due = self._late = 0
        self._last_late = None

    def exchange(self, tick: int, values: Sequence[float], fresh: Sequence[bool]) -> Outputs:
        """One tick of both; the other target's outputs."""
        its = self._target.exchange(tick, values, fresh)
        found = self._found
        if found is None:
            self._compare(tick, values, fresh, its)
        elif not found.over:
            found.follow(tick, self._model.tick(tick, values, fresh).events, its.events)
            if tick - found.difference.clock >= self._sequence.rate_hz:
                found.over = True
        return its

    def _compare(
        self, tick: int, values: Sequence[float], fresh: Sequence[bool], its: Outputs
    ) -> None:
        if tick > self._due:
            self._late += tick - self._due
            self._last_late = tick - 1
        self._due = tick + 1
        model = self._model.tick(tick, values, fresh)
        remembered = self._model.remembered()
        entered = tick if self._entered is None else self._entered
        self._kept.append(
            (self.now, tick, self._state, entered, tuple(fresh), remembered, model, its)
        )
        self._state = model.state
        self._entered = int(remembered[ENTERED])
        difference = self._agreement.look(tick, model, its)
        if difference is not None:
            ticks = [self._tick(*each) for each in self._kept]
            self._found = Found(difference, ticks, self._boot, self._late, self._last_late)

    def _tick(
        self,
        now: int,
        clock: int,
        state: str,
        entered: int,
        fresh: Sequence[bool],
        remembered: NDArray[np.float64],
        model: Outputs,
        its: Outputs,
    ) -> Tick:
        registers = self._model.registers(remembered)
        return Tick(now, Moment(clock, state, entered, registers, fresh, model), its)

    @staticmethod
    def check(rest: str, executor: str) -> None:
        """Nothing to refuse: nobody asks for it by name."""

    def close(self) -> None:
        """Let go of the other target."""
        self._target.close()

    def describe(self) -> Mapping[str, str]:
        """What the other target says of itself."""
        return self._target.describe()

    def divergence(self, rate_hz: int) -> Divergence | None:
        """The first difference of all that was exchanged, explained; None where there is none.

        rate_hz   world ticks per second
        """
        if self._found is None:
            return None
        return tell(self._sequence, self._found, self.tolerance_s, rate_hz)
