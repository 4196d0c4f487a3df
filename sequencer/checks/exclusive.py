"""Exactly one of several conditions at a time, in one stretch of a scope."""

from __future__ import annotations

import math
from functools import partial, reduce

import numpy as np
from numpy.typing import NDArray

from sequencer.checks.demands import ExactlyOne
from sequencer.checks.findings import Finding, Span, spare
from sequencer.checks.holding import runs, stretch
from sequencer.checks.scopes import Segment
from sequencer.checks.view import View
from sequencer.checks.wording import amount, at, clock, times, where

__all__ = ["exactly_one"]

Truths = NDArray[np.bool_]


def exactly_one(demand: ExactlyOne, segment: Segment, view: View) -> Finding | None:
    """Margin in s: `gap_s` less the longest run of ticks on which none or several hold.

    A run of n ticks lasts n / rate; only ticks of the stretch count. A tick on which it is unknown
    whether exactly one holds can be either. None where there is no sample to ask.
    """
    span = Span.of(segment, demand.window, view)
    final = min(span.final, view.samples - 1)
    open_end = segment.closed is None
    cut = span.cut or (open_end and demand.window.bounded and span.final > final)
    place = partial(where, view, segment, demand.window.low_s, demand.window.high_s)
    ended = Finding(
        -math.inf,
        math.inf,
        None,
        None,
        lambda: (
            f"the record ended at {at(view, view.last)} before it was known whether exactly one of "
            f"{_names(demand)} holds {place()}"
        ),
    )
    if span.first > final:
        return ended if cut else None
    traces = [view.trace(condition) for condition in demand.conditions]
    ticks = slice(span.first, final + 1)
    held = _number([trace.true[ticks] for trace in traces])
    possible = len(traces) - _number([trace.false[ticks] for trace in traces])
    broken = (held > 1) | (possible == 0)
    doubtful = (held != 1) | (possible != 1)
    run, widest = _longest(broken), _longest(doubtful)
    high, low = _spare(demand, view, run[1]), _spare(demand, view, widest[1])
    if high < 0:
        start, end, more = _ticks(broken, run, span.first, demand, view)

        def wrong() -> str:
            bad = slice(span.first + run[0], span.first + run[0] + run[1])
            what = _what_held(demand, np.array([trace.true[bad] for trace in traces]))
            allowed = f", with gaps of at most {clock(demand.gap_s)}" if demand.gap_s > 0 else ""
            return (
                f"{what} {_from(view, start, end)}, {amount(high, 's')} too long{times(more)}; "
                f"exactly one must hold {place()}{allowed}"
            )

        return Finding(high, high, start, end, wrong)
    if cut:
        return ended
    since, until, _ = _ticks(doubtful, widest, span.first, demand, view)
    if low < 0:
        return Finding(
            -math.inf,
            math.inf,
            since,
            until,
            lambda: (
                f"exactly one of {_names(demand)} must hold {place()}, but a value is missing "
                f"{_from(view, since, until)}"
            ),
        )

    def kept() -> str:
        text = f"exactly one of {_names(demand)} held {place()}"
        if doubtful.any():
            text += f", but not {_from(view, since, until)}, {amount(low, 's')} to spare"
        return text

    return Finding(low, low, since, until, kept)


def _names(demand: ExactlyOne) -> str:
    return ", ".join(condition.text for condition in demand.conditions)


def _number(truths: list[Truths]) -> NDArray[np.int8]:
    """How many of them hold, on every tick; at most 16 are asked for."""
    found: NDArray[np.int8] = reduce(np.add, [truth.view(np.int8) for truth in truths])
    return found


def _longest(bad: Truths) -> tuple[int, int]:
    """Where the longest run of `bad` begins, and how many ticks it has; (0, 0) for none."""
    if not bad.any():
        return 0, 0
    begins, ends = runs(bad)
    lengths = ends - begins
    longest = int(lengths.argmax())
    return int(begins[longest]), int(lengths[longest])


def _spare(demand: ExactlyOne, view: View, ticks: int) -> float:
    """The gap less that many ticks, as a decimal number."""
    return -spare(ticks, view.rate_hz, demand.gap_s)


def _ticks(
    bad: Truths, run: tuple[int, int], first: int, demand: ExactlyOne, view: View
) -> tuple[int, int, int]:
    """First and last tick of a run, and how many other runs are too long as well."""
    if run[1] == 0:
        return first, first, 0
    start, end, _ = stretch(bad, first, first + run[0])
    begins, ends = runs(bad)
    lengths = (ends - begins).tolist()
    return start, end, sum(_spare(demand, view, length) < 0 for length in lengths) - 1


def _from(view: View, start: int, end: int) -> str:
    if start == end:
        return f"at {at(view, start)}"
    lasted = clock(view.seconds(end - start + 1))
    return f"from {at(view, start)} to {at(view, end)} ({lasted})"


def _what_held(demand: ExactlyOne, true: Truths) -> str:
    """What was wrong in a run; `true` has shape (conditions, ticks of the run)."""
    texts = [condition.text for condition in demand.conditions]
    together = [text for text, held in zip(texts, true, strict=True) if held.all()]
    if len(together) > 1:
        return f"{' and '.join(together)} held together"
    if not true.any():
        return f"none of {', '.join(texts)} held"
    return f"none or several of {', '.join(texts)} held"
