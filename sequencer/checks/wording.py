"""Times, amounts and stretches as a tired person wants to read them."""

from __future__ import annotations

import math

from sequencer.checks.scopes import Segment
from sequencer.checks.view import Occurrence, View

__all__ = ["amount", "at", "clock", "times", "when", "where"]


def clock(seconds: float) -> str:
    """``12.30 s``: two decimals, three where the third is not zero."""
    text = f"{seconds:.3f}"
    return f"{text.removesuffix('0')} s"


def at(view: View, tick: int) -> str:
    """The time of a tick."""
    return clock(view.seconds(tick))


def amount(value: float, unit: str) -> str:
    """A margin without its sign: ``3.2 deg``, ``0.12 s``, ``2``."""
    text = f"{abs(value):.4g}"
    return text if unit == "1" else f"{text} {unit}"


def times(count: int) -> str:
    """How often beyond the one that is told: "", " (and once more)", " (and 3 more times)"."""
    if count <= 0:
        return ""
    return " (and once more)" if count == 1 else f" (and {count} more times)"


def when(view: View, what: Occurrence) -> str:
    """``'liftoff' (3.20 s)``."""
    return f"'{what.label}' ({at(view, what.tick)})"


def where(view: View, segment: Segment, low_s: float = 0.0, high_s: float = math.inf) -> str:
    """Where something was asked for, to end a sentence: "between ... and ...", "after ..."."""
    opened = None if segment.opened is None else when(view, segment.opened)
    closed = None if segment.closed is None else when(view, segment.closed)
    if low_s > 0 or math.isfinite(high_s):
        text = f"{window(low_s, high_s)} after {opened or 'the start'}"
        return text if closed is None else f"{text} and before {closed}"
    if opened is None:
        return "in the whole flight" if closed is None else f"before {closed}"
    return f"after {opened}" if closed is None else f"between {opened} and {closed}"


def window(low_s: float, high_s: float) -> str:
    """``within 2 s``, ``from 3 s to 30 s``, ``3 s or more``."""
    if math.isinf(high_s):
        return f"{low_s:g} s or more"
    return f"from {low_s:g} s to {high_s:g} s" if low_s > 0 else f"within {high_s:g} s"
