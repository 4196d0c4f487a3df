"""How much of everything one vehicle may have; the world's memory is laid out for this much."""

from __future__ import annotations

from typing import Final

__all__ = [
    "BATTERY_POINTS",
    "CHANNELS",
    "COMPUTERS",
    "CURVE_POINTS",
    "LOADS",
    "MOTORS",
    "OBSTACLES",
    "PARACHUTES",
    "PARTS",
    "SENSORS",
    "SERVOS",
    "SWITCHES",
]

PARTS: Final = 2
COMPUTERS: Final = 2
MOTORS: Final = 8
CURVE_POINTS: Final = 24
BATTERY_POINTS: Final = 8  # of each of a battery's tables
CHANNELS: Final = 16
LOADS: Final = 16
SERVOS: Final = 8
SENSORS: Final = 40  # switches counted, once per computer that reads them
PARACHUTES: Final = 4
SWITCHES: Final = 8
OBSTACLES: Final = 4
