"""The loop that closes the world over the targets, and everything that flies through it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from sequencer.flight.many import fly_many
from sequencer.flight.result import Result, Shortfall, first_divergence
from sequencer.scenario.finding import find_scenarios

if TYPE_CHECKING:
    from sequencer.flight.loop import fly

__all__ = ["Result", "Shortfall", "find_scenarios", "first_divergence", "fly", "fly_many"]


def __getattr__(name: str) -> object:
    """`fly` is looked up when asked for: it pulls in the compiled kernel."""
    if name == "fly":
        from sequencer.flight.loop import fly  # noqa: PLC0415 - as said above

        return fly
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
