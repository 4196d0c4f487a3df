"""Physics one tick at a time: air, wind, motion, ground, circuits, sensors, fault taps."""

from __future__ import annotations

from typing import TYPE_CHECKING

from sequencer.world.layout import (
    COMMANDS,
    OUT,
    PARAMS,
    STATE,
    FaultKind,
    LoadKind,
    Mode,
    SensorKind,
    ServoRole,
    empty,
)

if TYPE_CHECKING:
    from sequencer.world.jit import prepare
    from sequencer.world.playback import Playback
    from sequencer.world.world import World

__all__ = [
    "COMMANDS",
    "OUT",
    "PARAMS",
    "STATE",
    "FaultKind",
    "LoadKind",
    "Mode",
    "Playback",
    "SensorKind",
    "ServoRole",
    "World",
    "empty",
    "prepare",
]


def __getattr__(name: str) -> object:
    """Import what needs numba only when it is asked for."""
    if name == "World":
        from sequencer.world.world import World  # noqa: PLC0415

        return World
    if name == "Playback":
        from sequencer.world.playback import Playback  # noqa: PLC0415

        return Playback
    if name == "prepare":
        from sequencer.world.jit import prepare  # noqa: PLC0415

        return prepare
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
