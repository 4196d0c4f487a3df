"""A host-side twin of the flight software of a model rocket and of the vehicle around it.

    import sequencer
    record = sequencer.load("scenarios/calm_landing.scenario.toml").fly()
    record.outcome, record["height_m"].max()

Importing this package loads nothing else, so that ``drycount --help`` answers at once.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from sequencer.api import load

__all__ = ["__version__", "load"]

__version__ = "0.1.0"


def __getattr__(name: str) -> object:
    """`load` is looked up when asked for."""
    if name == "load":
        from sequencer.api import load  # noqa: PLC0415 - as the head of this module says

        return load
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
