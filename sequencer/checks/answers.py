"""Response and precedence in one stretch of a scope.

With an answer that is an event, the margin is in seconds. With one that is a condition it is what
the condition was worth where it counted; a trigger that is a condition of the same unit takes part
as in signal temporal logic, always(trigger implies eventually[window] answer), one of another unit
as a truth.
"""

from __future__ import annotations

import bisect
import math
from functools import partial

import numpy as np
from numpy.typing import NDArray

from sequencer.checks.conditions import Condition, Trace
from sequencer.checks.demands import Answer, Window
from sequencer.checks.findings import Finding, Gate
from sequencer.checks.happenings import Happening
from sequencer.checks.scopes import Segment
from sequencer.checks.view import Occurrence, View
from sequencer.checks.windows import max_at, min_at, window_ticks
from sequencer.checks.wording import amount, at, times, when, window

__all__ = ["answered"]

Floats = NDArray[np.float64]


def answered(demand: Answer, segment: Segment, view: View) -> Finding | None:
    """Each trigger with its answer; None where the trigger never came in this stretch."""
    if isinstance(demand.answer, Condition):
        return _by_condition(demand, demand.answer, segment, view)
    if not isinstance(demand.trigger, Happening):
        raise TypeError("an answer that is an event needs a trigger that is one")
    return _by_event(demand, demand.trigger, demand.answer, segment, view)


# --- events answer events -------------------------------------------------------------------------


def _by_event(
    demand: Answer, trigger: Happening, answer: Happening, segment: Segment, view: View
) -> Finding | None:
    asked = [one for one in view.occurrences(trigger) if segment.start <= one.tick <= segment.end]
    if not asked:
        return None
    given = view.occurrences(answer)
    judge = _preceded if demand.backwards else _followed
    found = [judge(demand, one, answer, given, segment, view) for one in asked]
    broken = [finding for finding in found if finding.broken]
    if broken:
        worst = min(broken, key=lambda finding: finding.high)
        return Finding(
            worst.low,
            worst.high,
            worst.start,
            worst.end,
            lambda: worst.text() + times(len(broken) - 1),
        )
    waiting = [finding for finding in found if not finding.kept]
    return waiting[0] if waiting else min(found, key=lambda finding: finding.low)


def _followed(
    demand: Answer,
    asked: Occurrence,
    answer: Happening,
    given: list[Occurrence],
    segment: Segment,
    view: View,
) -> Finding:
    """A response. What came before its trigger is no answer; a lower bound of 0 is no edge."""
    bounds = demand.window
    after = ((asked.tick, bounds.low_s),) if bounds.low_s > 0 else ()
    before = [(asked.tick, bounds.high_s)] if bounds.bounded else []
    if segment.closed is not None:
        before.append((segment.end, 0.0))
    gate = Gate(view.rate_hz, after, tuple(before))
    since = bisect.bisect_left(given, asked.tick, key=lambda one: one.tick)
    margin, chosen = gate.best(given, since, asked)
    if margin >= 0 and chosen is not None:
        return _kept(view, margin, chosen, asked, "after")

    def asks() -> str:
        text = f"{window(bounds.low_s, bounds.high_s)} " if bounds != Window() else ""
        text = f"{text}after {when(view, asked)}"
        if segment.closed is not None:
            text += f" and before {when(view, segment.closed)}"
        return text

    deadline = asked.tick + window_ticks(0.0, bounds.high_s, view.rate_hz)[1]
    if segment.closed is None and (deadline > view.last if bounds.bounded else not view.over):
        return Finding(
            margin,
            math.inf,
            None,
            None,
            lambda: (
                f"the record ended at {at(view, view.last)} with {answer.text} still awaited "
                f"{asks()}"
            ),
        )
    if chosen is None:
        end = max(asked.tick, int(min(deadline, segment.end)))
        return Finding(
            margin, margin, asked.tick, end, lambda: f"{answer.text} never came {asks()}"
        )
    return Finding(
        margin,
        margin,
        asked.tick,
        chosen.tick,
        lambda: (
            f"{when(view, chosen)} came {amount(margin, 's')} {_side(gate, chosen)}; "
            f"it must come {asks()}"
        ),
    )


def _preceded(
    demand: Answer,
    asked: Occurrence,
    answer: Happening,
    given: list[Occurrence],
    segment: Segment,
    view: View,
) -> Finding:
    """A precedence. Decided at once: what comes later cannot have gone before."""
    bounds = demand.window
    after = [(asked.tick, -bounds.high_s)] if bounds.bounded else []
    if segment.opened is not None:
        after.append((segment.start, 0.0))
    gate = Gate(view.rate_hz, tuple(after), ((asked.tick, -bounds.low_s),))
    margin, chosen = gate.best(given, 0, asked)
    if margin >= 0 and chosen is not None:
        return _kept(view, margin, chosen, asked, "before")

    def asks() -> str:
        text = f"{window(bounds.low_s, bounds.high_s)} " if bounds != Window() else ""
        text = f"{text}before it"
        if segment.opened is not None:
            text += f", after {when(view, segment.opened)}"
        return text

    if chosen is None:
        return Finding(
            margin,
            margin,
            asked.tick,
            asked.tick,
            lambda: f"{when(view, asked)} came, but {answer.text} never did; it must come {asks()}",
        )
    start, end = sorted((asked.tick, chosen.tick))
    return Finding(
        margin,
        margin,
        start,
        end,
        lambda: (
            f"{when(view, chosen)} came {amount(margin, 's')} {_side(gate, chosen)} for "
            f"{when(view, asked)}; it must come {asks()}"
        ),
    )


def _side(gate: Gate, chosen: Occurrence) -> str:
    return "too late" if gate.late(chosen.tick) else "too early"


def _kept(view: View, margin: float, chosen: Occurrence, asked: Occurrence, side: str) -> Finding:
    def kept() -> str:
        spare = f", {amount(margin, 's')} to spare" if math.isfinite(margin) else ""
        return f"{when(view, chosen)} came {side} {when(view, asked)}{spare}"

    start, end = sorted((asked.tick, chosen.tick))
    return Finding(margin, margin, start, end, kept)


# --- conditions answer ----------------------------------------------------------------------------


def _by_condition(
    demand: Answer, answer: Condition, segment: Segment, view: View
) -> Finding | None:
    first, final = segment.start, min(segment.end, view.samples - 1)
    ticks: range | list[int]
    if isinstance(demand.trigger, Happening):
        # the world's events may lie one tick ahead of the samples
        ticks = [
            min(one.tick, final)
            for one in view.occurrences(demand.trigger)
            if first <= one.tick <= segment.end
        ]
        if not ticks:
            return None
        low, high = _worth(demand, answer, segment, view, ticks)
    else:
        asked = view.trace(demand.trigger)
        if asked.false[first : final + 1].all():  # also where there is no sample
            return None
        ticks = range(first, final + 1)
        low, high = _worth(demand, answer, segment, view, ticks)
        low, high = _implied(demand.trigger, answer, asked, low, high, first)
    return _told(demand, answer, view, ticks, low, high)


def _worth(
    demand: Answer, answer: Condition, segment: Segment, view: View, ticks: range | list[int]
) -> tuple[Floats, Floats]:
    """What the answer is worth for a trigger on each of some ticks of the stretch, ascending."""
    bounds = demand.window
    near, far = window_ticks(bounds.low_s, bounds.high_s, view.rate_hz)
    final = min(segment.end, view.samples - 1)
    since, until = (-far, -near) if demand.backwards else (near, far)
    # only the samples that any of the windows reaches
    first = int(max(segment.start, ticks[0] + min(since, 0)))
    if first > final:  # it ended as the stretch began
        return np.full(len(ticks), -math.inf), np.full(len(ticks), math.inf)
    trace = view.part(answer, first, int(min(final, ticks[-1] + max(until, 0))))
    sides = (trace.low,) if trace.low is trace.high else (trace.low, trace.high)
    # where nothing follows, no answer can come and nothing can fail
    throughout = demand.throughout and not demand.backwards
    nothing = math.inf if throughout else -math.inf
    best_at = min_at if throughout else max_at
    moved = (
        range(ticks[0] - first, ticks[-1] + 1 - first)
        if isinstance(ticks, range)
        else [tick - first for tick in ticks]
    )
    found = [best_at(side, moved, since, until, outside=nothing) for side in sides]
    low, high = found[0], found[-1]
    awaits = bounds.bounded or not (throughout or view.over)
    if segment.closed is None and awaits and not demand.backwards:
        # the last windows reach beyond the record, where anything can follow
        cut = bisect.bisect_right(ticks, final - far)
        if cut < len(ticks):
            reached = (low if throughout else high).copy()
            reached[cut:] = -nothing
            return (reached, high) if throughout else (low, reached)
    return low, high


def _implied(
    trigger: Condition, answer: Condition, asked: Trace, low: Floats, high: Floats, first: int
) -> tuple[Floats, Floats]:
    """The worth of "trigger implies answer" on each tick."""
    part = slice(first, first + len(low))
    if trigger.units == (answer.unit,):
        not_asked = asked.negated()
        return np.maximum(not_asked.low[part], low), np.maximum(not_asked.high[part], high)
    true, false = asked.true[part], asked.false[part]
    return (
        np.where(false, math.inf, low),
        np.where(false, math.inf, np.where(true, high, math.inf)),
    )


def _told(
    demand: Answer,
    answer: Condition,
    view: View,
    ticks: range | list[int],
    low: Floats,
    high: Floats,
) -> Finding:
    worst, weakest = int(high.argmin()), int(low.argmin())
    least, lowest = float(high[worst]), float(low[weakest])
    tick = ticks[worst if least < 0 else weakest]
    asked = partial(_asked, demand, answer, view, tick)
    if least < 0:
        near, far = window_ticks(demand.window.low_s, demand.window.high_s, view.rate_hz)
        edges = (tick - far, tick - near) if demand.backwards else (tick + near, tick + far)
        start, end = (int(min(max(edge, 0), view.samples - 1)) for edge in edges)

        def failed() -> str:
            by = f", {amount(least, answer.unit)} short" if math.isfinite(least) else ""
            return f"{asked('did not hold')}{by}{times(int((high < 0).sum()) - 1)}"

        return Finding(least, least, start, end, failed)
    if lowest < 0:
        return Finding(
            -math.inf,
            math.inf,
            None,
            None,
            lambda: (
                f"it cannot be told whether {asked('held')}: "
                f"the record ended at {at(view, view.last)}, or a value is missing"
            ),
        )

    def kept() -> str:
        spare = f", {amount(lowest, answer.unit)} to spare" if math.isfinite(lowest) else ""
        return f"{asked('held')}{spare}"

    return Finding(lowest, lowest, tick, tick, kept)


def _asked(demand: Answer, answer: Condition, view: View, tick: int, verb: str) -> str:
    """Such as "tilt_deg < 20 held within 2 s after 'liftoff' (3.20 s)"."""
    bounds = demand.window
    side = "before" if demand.backwards else "after"
    asks = f"{window(bounds.low_s, bounds.high_s)} {side}" if bounds != Window() else side
    asks = "at" if bounds.high_s == 0 else asks
    how = "all the time " if demand.throughout else ""
    return f"{answer.text} {verb} {how}{asks} {demand.trigger.text} ({at(view, tick)})"
