"""Universality, absence and existence of a condition in one stretch of a scope."""

from __future__ import annotations

import math
from functools import partial

import numpy as np
from numpy.typing import NDArray

from sequencer.checks.demands import Holds
from sequencer.checks.findings import Finding, Saying, Span
from sequencer.checks.scopes import Segment
from sequencer.checks.view import View
from sequencer.checks.wording import amount, at, times, where

__all__ = ["holding", "runs", "said", "stretch"]


def holding(demand: Holds, segment: Segment, view: View) -> Finding | None:
    """A condition that must hold always, never or once; None where there is no sample to ask.

    Margin: the least (always) or greatest (once) that the condition was worth, in its unit. An
    unknown sample can be anything: it leaves the verdict open unless the other samples settle it.
    """
    span = Span.of(segment, demand.window, view)
    final = min(span.final, view.samples - 1)
    open_end = segment.closed is None
    cut = span.cut or (open_end and demand.window.bounded and span.final > final)
    place = partial(where, view, segment, demand.window.low_s, demand.window.high_s)
    if demand.once:
        return _once(demand, span, view, final, place, cut=cut or (span.endless and not view.over))
    if span.first > final:
        return _cut(view, demand, place) if cut else None
    return _always(demand, span, view, final, place, cut=cut)


def _always(
    demand: Holds, span: Span, view: View, final: int, place: Saying, *, cut: bool
) -> Finding:
    trace = view.trace(demand.condition)
    trace = trace.negated() if demand.absent else trace
    low, high = trace.low[span.first : final + 1], trace.high[span.first : final + 1]
    least = float(high.min())
    if least < 0:
        worst = span.first + int(high.argmin())
        start, end, more = stretch(high < 0, span.first, worst)

        def broken() -> str:
            when = (
                f"at {at(view, start)}"
                if start == end
                else f"from {at(view, start)} to {at(view, end)}"
            )
            verb = "held" if demand.absent else "failed"
            must = "must not " if demand.absent else "must "
            return (
                f"{demand.condition.text} {verb} {when}{times(more)}, "
                f"worst{said(view, demand, worst, least)}; it {must}hold {place()}"
            )

        return Finding(least, least, start, end, broken)
    if cut:
        return _cut(view, demand, place)
    lowest = float(low.min())
    tick = span.first + int(low.argmin())
    if lowest < 0:
        return _unknown(view, demand, low, high, span.first, place)

    def kept() -> str:
        unit = demand.condition.unit
        spare = f", {amount(lowest, unit)} to spare" if math.isfinite(lowest) else ""
        return (
            f"{demand.condition.text} {'never held' if demand.absent else 'held'} {place()}; "
            f"nearest at {at(view, tick)}{spare}{_read(view, demand, tick)}"
        )

    return Finding(lowest, lowest, tick, tick, kept)


def _once(
    demand: Holds, span: Span, view: View, final: int, place: Saying, *, cut: bool
) -> Finding:
    text = demand.condition.text
    if span.first > final:
        if cut:
            return _cut(view, demand, place)
        return Finding(
            -math.inf,
            -math.inf,
            span.first,
            span.first,
            lambda: f"there was no time for {text} {place()}",
        )
    trace = view.trace(demand.condition)
    low, high = trace.low[span.first : final + 1], trace.high[span.first : final + 1]
    best, tick = float(low.max()), span.first + int(low.argmax())
    if best >= 0:

        def kept() -> str:
            spare = f", {amount(best, demand.condition.unit)} beyond" if math.isfinite(best) else ""
            read = _read(view, demand, tick)
            return f"{text} held {place()}, best at {at(view, tick)}{spare}{read}"

        return Finding(best, best, tick, tick, kept)
    if cut:
        return _cut(view, demand, place)
    most = float(high.max())
    if most >= 0:
        return _unknown(view, demand, low, high, span.first, place)
    nearest = span.first + int(high.argmax())
    return Finding(
        most,
        most,
        span.first,
        final,
        lambda: f"{text} never held {place()}; nearest{said(view, demand, nearest, most)}",
    )


def _cut(view: View, demand: Holds, place: Saying) -> Finding:
    return Finding(
        -math.inf,
        math.inf,
        None,
        None,
        lambda: (
            f"the record ended at {at(view, view.last)} before it was known whether "
            f"{demand.condition.text} {place()}"
        ),
    )


def _unknown(
    view: View,
    demand: Holds,
    low: NDArray[np.float64],
    high: NDArray[np.float64],
    first: int,
    place: Saying,
) -> Finding:
    open_ticks = np.flatnonzero((low < 0) & (high >= 0))
    start, end = first + int(open_ticks[0]), first + int(open_ticks[-1])
    return Finding(
        -math.inf,
        math.inf,
        start,
        end,
        lambda: (
            f"{demand.condition.text} is asked {place()}, but a value is missing from "
            f"{at(view, start)} to {at(view, end)}{_read(view, demand, start)}"
        ),
    )


def runs(bad: NDArray[np.bool_]) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Where the unbroken runs of `bad` begin, and where they are over (the first that is not)."""
    padded = np.zeros(len(bad) + 2, dtype=np.bool_)
    padded[1:-1] = bad
    edges = np.flatnonzero(padded[1:] != padded[:-1])
    return edges[0::2], edges[1::2]


def stretch(bad: NDArray[np.bool_], first: int, worst: int) -> tuple[int, int, int]:
    """The unbroken run of `bad` around tick `worst`, and how many other runs there are.

    `bad` has shape (n,) and begins at tick `first`.
    """
    begins, ends = runs(bad)
    starts, ends = begins + first, ends + first - 1
    run = int(np.searchsorted(starts, worst, side="right")) - 1
    return int(starts[run]), int(ends[run]), len(starts) - 1


def said(view: View, demand: Holds, tick: int, margin: float) -> str:
    """``at 3.20 s by 3.2 deg (tilt_deg = 23.2)``, with a blank before it."""
    by = f" by {amount(margin, demand.condition.unit)}" if math.isfinite(margin) else ""
    return f" at {at(view, tick)}{by}{_read(view, demand, tick)}"


def _read(view: View, demand: Holds, tick: int) -> str:
    shown = view.readings(demand.condition, tick)
    return f" ({shown})" if shown else ""
