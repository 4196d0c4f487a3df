"""The words for how a flight ended."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Literal

__all__ = ["OUTCOMES", "Outcome"]

Outcome = Literal[
    "on_pad",
    "landed",
    "hard_landing",
    "tipped_over",
    "recovered",
    "crashed",
    "in_flight",
    "replayed",
]

#: word -> what it means; the limits that tell them apart are in sequencer.flight.ending
OUTCOMES: Mapping[Outcome, str] = {
    "on_pad": "never left the pad",
    "landed": "on its legs under its motors, upright, slow enough",
    "hard_landing": "on its legs, but faster than they are made for",
    "tipped_over": "came down slowly enough, then fell over",
    "recovered": "came down under its parachute, slow enough",
    "crashed": "hit the ground or an obstacle too fast",
    "in_flight": "the record ended before it came down",
    "replayed": "nothing flew: the inputs came from a recorded log",
}
