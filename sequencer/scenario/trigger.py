"""When something that a scenario plans begins: at a time, after an event, or at a height."""

from __future__ import annotations

import math
from dataclasses import dataclass

__all__ = ["Trigger"]


@dataclass(frozen=True, slots=True)
class Trigger:
    """The moment at which a crew action or a fault begins, and for a fault how long it lasts.

    Exactly one of `at_s`, `event`, `above_m`, `below_m` is given.

    at_s      seconds after the start of the record
    event     label of an event (its first occurrence counts)
    above_m   the first tick on which the vehicle is higher than this above the ground
    below_m   the first tick, once it has been higher, on which it is lower
    after_s   wait between the moment above and the beginning
    for_s     how long it lasts; inf for the rest of the flight
    """

    at_s: float | None = None
    event: str | None = None
    above_m: float | None = None
    below_m: float | None = None
    after_s: float = 0.0
    for_s: float = math.inf
