"""Absence, existence and bounded existence of events in one stretch of a scope."""

from __future__ import annotations

import math
from functools import partial

from sequencer.checks.demands import Count, Presence
from sequencer.checks.findings import Finding, Saying, Span
from sequencer.checks.scopes import Segment
from sequencer.checks.view import Occurrence, View
from sequencer.checks.wording import amount, at, times, when, where

__all__ = ["count", "presence"]


def presence(demand: Presence, segment: Segment, view: View) -> Finding | None:
    """An event that must come, or must not; None where the stretch leaves no room to ask.

    The margin is how far inside the stretch the event came: the least by which it would have to
    move to change the verdict. Absence is worth exactly minus existence; an event right on the
    edge keeps either.
    """
    span = Span.of(segment, demand.window, view)
    found = view.occurrences(demand.event)
    margin, nearest = span.gate.best(found)
    place = partial(where, view, segment, demand.window.low_s, demand.window.high_s)
    if demand.absent:
        return None if span.empty else _absent(demand, span, view, -margin, nearest, place)
    return _existing(demand, span, view, margin, nearest, place)


def _absent(
    demand: Presence,
    span: Span,
    view: View,
    margin: float,
    nearest: Occurrence | None,
    place: Saying,
) -> Finding:
    if margin < 0 and nearest is not None:
        inside = [one for one in view.occurrences(demand.event) if span.gate.margin(one.tick) > 0]
        depth = f", {amount(margin, 's')} inside" if math.isfinite(margin) else ""
        return Finding(
            margin,
            margin,
            nearest.tick,
            nearest.tick,
            lambda: (
                f"'{nearest.label}' came at {at(view, nearest.tick)}{depth}, but must not come "
                f"{place()}{times(len(inside) - 1)}"
            ),
        )
    if span.cut:
        return Finding(
            -math.inf,
            margin,
            None,
            None,
            lambda: (
                f"the record ended at {at(view, view.last)}; {demand.event.text} could still come "
                f"{place()}"
            ),
        )
    if nearest is None:
        return Finding(margin, margin, None, None, lambda: f"{demand.event.text} never came")
    return Finding(
        margin,
        margin,
        nearest.tick,
        nearest.tick,
        lambda: (
            f"{demand.event.text} did not come {place()}; the nearest was {when(view, nearest)}, "
            f"{amount(margin, 's')} outside"
        ),
    )


def _existing(
    demand: Presence,
    span: Span,
    view: View,
    margin: float,
    nearest: Occurrence | None,
    place: Saying,
) -> Finding:
    if margin >= 0 and nearest is not None:
        spare = f", {amount(margin, 's')} to spare" if math.isfinite(margin) else ""
        return Finding(
            margin,
            margin,
            nearest.tick,
            nearest.tick,
            lambda: f"'{nearest.label}' came at {at(view, nearest.tick)}{spare}",
        )
    if span.cut or (span.endless and not view.over):
        return Finding(
            margin,
            math.inf,
            None,
            None,
            lambda: (
                f"the record ended at {at(view, view.last)} before {demand.event.text} came "
                f"{place()}"
            ),
        )

    def missed() -> str:
        if nearest is None:
            return f"{demand.event.text} never came, but must come {place()}"
        side = "too late" if span.gate.late(nearest.tick) else "too early"
        return (
            f"{demand.event.text} did not come {place()}; the nearest was {when(view, nearest)}, "
            f"{amount(margin, 's')} {side}"
        )

    return Finding(margin, margin, span.first, max(span.first, span.final), missed)


def count(demand: Count, segment: Segment, view: View) -> Finding | None:
    """The number of events in the stretch, edges included; margin in events."""
    span = Span.of(segment, demand.window, view)
    if span.empty and demand.at_least == 0:
        return None
    inside = [one for one in view.occurrences(demand.event) if span.gate.margin(one.tick) >= 0]
    number = len(inside)
    short, over = number - demand.at_least, demand.at_most - number
    margin = float(min(short, over))
    place = partial(where, view, segment, demand.window.low_s, demand.window.high_s)

    def came() -> str:
        return f"{demand.event.text} came {_times(number)} {place()}"

    if over < 0:
        first = inside[int(demand.at_most)]
        return Finding(
            margin,
            margin,
            first.tick,
            inside[-1].tick,
            lambda: (
                f"{came()}; at most {demand.at_most:g} allowed, one too many at "
                f"{at(view, first.tick)}"
            ),
        )
    if short < 0 and not (span.cut or (span.endless and not view.over)):
        final = max(span.first, span.final)
        return Finding(
            margin,
            margin,
            span.first,
            final,
            lambda: f"{came()}; at least {demand.at_least} needed",
        )
    if span.cut or short < 0:
        return Finding(
            -math.inf,
            float(over),
            None,
            None,
            lambda: (
                f"the record ended at {at(view, view.last)}, when {demand.event.text} had "
                f"come {_times(number)} {place()} and more could follow"
            ),
        )
    return Finding(
        margin,
        margin,
        inside[0].tick if inside else None,
        inside[-1].tick if inside else None,
        lambda: f"{came()}, {_allowed(demand)}",
    )


def _times(number: int) -> str:
    return {1: "once", 2: "twice"}.get(number, f"{number} times")


def _allowed(demand: Count) -> str:
    if math.isinf(demand.at_most):
        return f"at least {demand.at_least} needed"
    if demand.at_least == demand.at_most:
        return f"exactly {demand.at_least} needed"
    if demand.at_least == 0:
        return f"at most {demand.at_most:g} allowed"
    return f"{demand.at_least} to {demand.at_most:g} allowed"
