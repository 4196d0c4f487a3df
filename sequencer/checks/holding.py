"""Universality, absence and existence of a condition in one stretch of a scope."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from sequencer.checks.demands import Holds
from sequencer.checks.findings import Finding, Span
from sequencer.checks.scopes import Segment
from sequencer.checks.view import View
from sequencer.checks.wording import amount, at, times, where

__all__ = ["holding", "said", "stretch"]


def holding(demand: Holds, segment: Segment, view: View) -> Finding | None:
    """A condition that must hold always, never or once; None where there is no sample to ask.

    Margin: the least (always) or greatest (once) that the condition was worth, in its unit. An
    unknown sample can be anything: it leaves the verdict open unless the other samples settle it.
    """
    span = Span.of(segment, demand.window, view)
    final = min(span.final, view.samples - 1)
    open_end = segment.closed is None
    cut = span.cut or (open_end and demand.window.bounded and span.final > final)
    place = where(view, segment, demand.window.low_s, demand.window.high_s)
    if demand.once:
        return _once(demand, span, view, final, place, cut=cut or (span.endless and not view.over))
    if span.first > final:
        return _cut(view, f"{demand.condition.text} {place}") if cut else None
    return _always(demand, span, view, final, place, cut=cut)


def _always(demand: Holds, span: Span, view: View, final: int, place: str, *, cut: bool) -> Finding:
    trace = view.trace(demand.condition)
    trace = trace.negated() if demand.absent else trace
    low, high = trace.low[span.first : final + 1], trace.high[span.first : final + 1]
    verb = "held" if demand.absent else "failed"
    least = float(high.min())
    if least < 0:
        worst = span.first + int(high.argmin())
        start, end, more = stretch(high < 0, span.first, worst)
        when = (
            f"at {at(view, start)}"
            if start == end
            else f"from {at(view, start)} to {at(view, end)}"
        )
        must = "must not " if demand.absent else "must "
        text = (
            f"{demand.condition.text} {verb} {when}{times(more)}, "
            f"worst{said(view, demand, worst, least)}; it {must}hold {place}"
        )
        return Finding(least, least, start, end, text)
    if cut:
        return _cut(view, f"{demand.condition.text} {place}")
    lowest = float(low.min())
    tick = span.first + int(low.argmin())
    if lowest < 0:
        return _unknown(view, demand, low, high, span.first, place)
    spare = f", {amount(lowest, demand.condition.unit)} to spare" if math.isfinite(lowest) else ""
    return Finding(
        lowest,
        lowest,
        tick,
        tick,
        f"{demand.condition.text} {'never held' if demand.absent else 'held'} {place}; "
        f"nearest at {at(view, tick)}{spare}{_read(view, demand, tick)}",
    )


def _once(demand: Holds, span: Span, view: View, final: int, place: str, *, cut: bool) -> Finding:
    text = demand.condition.text
    if span.first > final:
        if cut:
            return _cut(view, f"{text} {place}")
        return Finding(
            -math.inf, -math.inf, span.first, span.first, f"there was no time for {text} {place}"
        )
    trace = view.trace(demand.condition)
    low, high = trace.low[span.first : final + 1], trace.high[span.first : final + 1]
    best, tick = float(low.max()), span.first + int(low.argmax())
    if best >= 0:
        spare = f", {amount(best, demand.condition.unit)} beyond" if math.isfinite(best) else ""
        words = f"{text} held {place}, best at {at(view, tick)}{spare}{_read(view, demand, tick)}"
        return Finding(best, best, tick, tick, words)
    if cut:
        return _cut(view, f"{text} {place}")
    most = float(high.max())
    if most >= 0:
        return _unknown(view, demand, low, high, span.first, place)
    tick = span.first + int(high.argmax())
    words = f"{text} never held {place}; nearest{said(view, demand, tick, most)}"
    return Finding(most, most, span.first, final, words)


def _cut(view: View, what: str) -> Finding:
    text = f"the record ended at {at(view, view.last)} before it was known whether {what}"
    return Finding(-math.inf, math.inf, None, None, text)


def _unknown(
    view: View,
    demand: Holds,
    low: NDArray[np.float64],
    high: NDArray[np.float64],
    first: int,
    place: str,
) -> Finding:
    open_ticks = np.flatnonzero((low < 0) & (high >= 0))
    start, end = first + int(open_ticks[0]), first + int(open_ticks[-1])
    text = (
        f"{demand.condition.text} is asked {place}, but a value is missing from "
        f"{at(view, start)} to {at(view, end)}{_read(view, demand, start)}"
    )
    return Finding(-math.inf, math.inf, start, end, text)


def stretch(bad: NDArray[np.bool_], first: int, worst: int) -> tuple[int, int, int]:
    """The unbroken run of `bad` around tick `worst`, and how many other runs there are.

    `bad` has shape (n,) and begins at tick `first`.
    """
    edges = np.flatnonzero(np.diff(bad.astype(np.int8), prepend=0, append=0))
    starts, ends = edges[0::2] + first, edges[1::2] + first - 1
    run = int(np.searchsorted(starts, worst, side="right")) - 1
    return int(starts[run]), int(ends[run]), len(starts) - 1


def said(view: View, demand: Holds, tick: int, margin: float) -> str:
    """``at 3.20 s by 3.2 deg (tilt_deg = 23.2)``, with a blank before it."""
    by = f" by {amount(margin, demand.condition.unit)}" if math.isfinite(margin) else ""
    return f" at {at(view, tick)}{by}{_read(view, demand, tick)}"


def _read(view: View, demand: Holds, tick: int) -> str:
    shown = view.readings(demand.condition, tick)
    return f" ({shown})" if shown else ""
