"""The remarks beside events whose details are numbers; both loops take them from here."""

from __future__ import annotations

__all__ = [
    "TICK_SKIPPED",
    "booted",
    "brown_out",
    "corrupt",
    "dropped",
    "log_cut",
    "log_full",
]

TICK_SKIPPED = "tick skipped"


def booted(number: int) -> str:
    """Of a computer's boot."""
    return f"boot {number}"


def brown_out(least_v: float) -> str:
    """Of a computer that lost its power at this voltage."""
    return f"down to {least_v:.2f} V"


def corrupt(count: int) -> str:
    """Of messages that were damaged."""
    return f"{count} failed the check"


def dropped(count: int) -> str:
    """Of messages that were old."""
    return f"{count} not newer"


def log_full(length_s: float) -> str:
    """Of a log that cannot hold more."""
    return f"{length_s:g} s"


def log_cut(lost_s: float) -> str:
    """Of a log that lost its buffer."""
    return f"the last {lost_s:g} s are lost"
