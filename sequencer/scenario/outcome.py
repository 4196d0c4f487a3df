"""The words for how a flight ended."""

from __future__ import annotations

from collections.abc import Mapping

__all__ = ["OUTCOMES"]

#: word -> what it means; the limits that tell them apart are in sequencer.flight.ending
OUTCOMES: Mapping[str, str] = {
    "on_pad": "never left the pad",
    "landed": "on its legs under its motors, upright, slow enough",
    "hard_landing": "on its legs, but faster than they are made for",
    "tipped_over": "came down slowly enough, then fell over",
    "recovered": "came down under its parachute, slow enough",
    "crashed": "hit the ground or an obstacle too fast",
    "in_flight": "the record ended before it came down",
}
