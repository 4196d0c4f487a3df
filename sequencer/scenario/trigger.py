"""When something that a scenario plans begins and ends: at a time, an event, a state, a height."""

from __future__ import annotations

import math
from dataclasses import dataclass

__all__ = ["Trigger"]


@dataclass(frozen=True, slots=True)
class Trigger:
    """The moment at which a crew action or a fault begins, and for a fault how long it lasts.

    Exactly one of `at_s`, `event`, `state`, `above_m`, `below_m` is given, and at most one of
    `for_s`, `until` and `while_in`.

    at_s      seconds after the start of the record
    event     label of an event (its first occurrence counts)
    state     (computer, state): the first tick after that computer entered it
    above_m   the first tick on which the vehicle is higher than this above the ground
    below_m   the first tick, once it has been higher, on which it is lower
    after_s   wait between the moment above and the beginning
    for_s     how long it lasts; inf for the rest of the flight
    until     label of the event that ends it: the first one after it began
    while_in  ends when `state` is left, and begins again whenever it is entered
    """

    at_s: float | None = None
    event: str | None = None
    state: tuple[str, str] | None = None
    above_m: float | None = None
    below_m: float | None = None
    after_s: float = 0.0
    for_s: float = math.inf
    until: str | None = None
    while_in: bool = False

    def at_tick(self, rate_hz: int) -> int | None:
        """World tick of `at_s`, the first that is not before it."""
        return None if self.at_s is None else math.ceil(round(self.at_s * rate_hz, 6))

    def waits_ticks(self, rate_hz: int) -> int:
        """How many world ticks `after_s` is."""
        return math.ceil(round(self.after_s * rate_hz, 6))

    def lasts_ticks(self, rate_hz: int) -> float:
        """How many world ticks `for_s` is, at least one; inf for the rest of the flight."""
        if math.isinf(self.for_s):
            return math.inf
        return max(1, math.ceil(round(self.for_s * rate_hz, 6)))
