"""When something planned is active: its trigger, followed through the flight."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Protocol

from sequencer.flight.recorder import Recorder
from sequencer.scenario.trigger import Trigger

__all__ = ["InState", "Moment"]


class InState(Protocol):
    """Whatever is in a state of its sequence, or in none while it is down."""

    @property
    def state(self) -> str | None:
        """The present state."""


class Moment:
    """Follows one trigger; ask `active` once on every tick, in order.

    recorder    what has been noted so far, and the height
    computers   whose states the trigger may name
    """

    def __init__(
        self, trigger: Trigger, rate_hz: int, recorder: Recorder, computers: Mapping[str, InState]
    ) -> None:
        self._trigger = trigger
        self._recorder = recorder
        self._computers = computers
        self._wait = trigger.waits_ticks(rate_hz)
        self._lasts = trigger.lasts_ticks(rate_hz)
        self._at = trigger.at_tick(rate_hz)
        self._been_above = False
        self._begins: int | None = None
        self._ends = math.inf
        self._endings_before: int | None = None

    def active(self, tick: int) -> bool:
        """Whether it has begun by this tick and is not over."""
        if self._trigger.while_in and not self._inside():
            self._begins = None
            return False
        if self._begins is None:
            if not self._came(tick):
                return False
            self._begins = tick + self._wait if self._at is None else self._at + self._wait
            self._ends = self._begins + self._lasts
        if tick < self._begins or tick >= self._ends:
            return False
        if self._ended():
            self._ends = tick
            return False
        return True

    def _came(self, tick: int) -> bool:
        trigger, recorder = self._trigger, self._recorder
        if self._at is not None:
            return tick >= self._at
        if trigger.event is not None:
            return recorder.count(trigger.event) > 0
        if trigger.state is not None:
            return trigger.while_in or recorder.count(f"entered {'.'.join(trigger.state)}") > 0
        if trigger.above_m is not None:
            return recorder.height > trigger.above_m
        assert trigger.below_m is not None  # noqa: S101 - the schema demands exactly one
        self._been_above = self._been_above or recorder.height > trigger.below_m
        return self._been_above and recorder.height < trigger.below_m

    def _inside(self) -> bool:
        assert self._trigger.state is not None  # noqa: S101 - the schema demands it of while_in
        computer, state = self._trigger.state
        return self._computers[computer].state == state

    def _ended(self) -> bool:
        """Whether the event that ends it has come since it began."""
        until = self._trigger.until
        if until is None:
            return False
        count = self._recorder.count(until)
        if self._endings_before is None:
            self._endings_before = count
        return count > self._endings_before
