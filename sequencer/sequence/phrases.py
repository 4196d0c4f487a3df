"""Conditions and commands in words, for sentences that tell a builder what to do."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Final

from sequencer.expressions import (
    TURNED,
    Comparison,
    InState,
    LimitCosine,
    Node,
    Number,
    Variable,
    unparse,
)
from sequencer.sequence.decisions import OPPOSITE
from sequencer.sequence.model import Command, Exit, Limit, Sequence
from sequencer.units import unit

__all__ = ["asked_of", "commanded_by", "hold", "listed", "literal"]

_WORDS: Final[Mapping[str, str]] = {
    "<": "below", "<=": "at or below", ">": "above", ">=": "at or above",
    "==": "exactly at", "!=": "other than",
}  # fmt: skip


def hold(sequence: Sequence, way: Exit) -> str:
    """How long the condition must hold: "for 0.1 s", "on 3 fresh baro", or "" for one tick."""
    if way.fresh is not None:
        return f"on {way.hold_ticks} fresh {way.fresh}"
    return f"for {way.hold_ticks / sequence.rate_hz:g} s" if way.hold_ticks > 1 else ""


def listed(words: Iterable[str], last: str = "and") -> str:
    """One after the other: "a, b and c"."""
    every = list(words)
    if len(every) < 2:
        return "".join(every)
    return f"{', '.join(every[:-1])} {last} {every[-1]}"


def literal(sequence: Sequence, leaf: Node, *, true: bool, verb: str = "is") -> str:
    """A leaf of a condition that is true, or false: "tilt goes above 30 deg (tilt_max)".

    verb   for a number: "is", "goes", "stays"; of a truth it is said that it is
    """
    if isinstance(leaf, InState):
        return f"the state is {'' if true else 'not '}{listed(leaf.states, 'or')}"
    if isinstance(leaf, Variable):
        return f"{leaf.name} is {'true' if true else 'false'}"
    if isinstance(leaf, Comparison):
        operator, left, right = leaf.operator, leaf.left, leaf.right
        bound = _bound(sequence.limits, right)
        if bound is None:
            bound = _bound(sequence.limits, left)
            operator, left, right = TURNED[operator], right, left
        if bound is not None:
            if isinstance(right, LimitCosine):
                operator = TURNED[operator]
            word = _WORDS[operator if true else OPPOSITE[operator]]
            what = unparse(left).replace("time_in_state", "time in state")
            return f"{what} {verb} {word} {bound}"
    return f"`{unparse(leaf)}` is {'true' if true else 'false'}"


def commanded_by(sequence: Sequence, function: str) -> list[str]:
    """Where a function is commanded: "on entry to abort", "with exit 'burnt out' of ascent"."""
    found = []
    for state in sequence.states.values():
        if asked_of(state.on_entry, function):
            found.append(f"on entry to {state.name}")
        if asked_of(state.on_leave, function):
            found.append(f"on leaving {state.name}")
    own = [way for state in sequence.states.values() for way in state.exits]
    found += [
        f"with exit '{way.name}' of {listed(way.sources, 'or')}"
        for way in (*sequence.common_exits, *own)
        if asked_of(way.actions, function)
    ]
    return found


def asked_of(commands: Iterable[Command], function: str) -> bool:
    """Whether one of the commands switches the function on or moves it."""
    return any(each.name == function and each.verb != "cut" for each in commands)


def _bound(limits: Mapping[str, Limit], node: Node) -> str | None:
    """A constant as the file wrote it, with its name; None for what is no constant."""
    if isinstance(node, Number):
        return f"{node.value:g}"
    if isinstance(node, Variable | LimitCosine) and node.name in limits:
        limit = limits[node.name]
        symbol = unit(limit.unit)
        text = f"{symbol.from_si(limit.value):.6g}"
        return f"{text if limit.unit == '1' else f'{text} {limit.unit}'} ({limit.name})"
    return None
