"""What a diagram says about states, exits and commands."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable

from sequencer.sequence import Command, Exit, Sequence, State
from sequencer.sequence.phrases import hold

__all__ = ["commands", "condition", "has_own_name", "hold", "lines_of", "sources_of", "states_of"]

_WIDTH = 38


def commands(actions: Iterable[Command]) -> str:
    """Commands as the file writes them, with commas."""
    return ", ".join(
        " ".join(filter(None, (action.verb, action.name, action.position))) for action in actions
    )


def condition(sequence: Sequence, way: Exit) -> str:
    """The condition as the file writes it, and how long it must hold."""
    return ", ".join(filter(None, (way.text, hold(sequence, way))))


def has_own_name(way: Exit) -> bool:
    """Whether the file names the exit, instead of leaving "STATE to STATE"."""
    default = f"{way.sources[0]} to {way.to}"
    rest = way.name.removeprefix(default)
    return way.common or rest == way.name or bool(rest and not rest.strip().isdigit())


def lines_of(sequence: Sequence, way: Exit) -> list[str]:
    """An exit in lines: its name where it has one of its own, condition and hold, commands."""
    lines = [way.name] if has_own_name(way) else []
    lines += textwrap.wrap(condition(sequence, way), _WIDTH)
    if way.actions:
        lines += textwrap.wrap(f"do: {commands(way.actions)}", _WIDTH)
    return lines


def sources_of(way: Exit) -> list[str]:
    """The states in which a common exit holds, in lines."""
    return textwrap.wrap(f"in {', '.join(way.sources)}", _WIDTH)


def states_of(state: State) -> list[str]:
    """What a state does, in lines: commands on entry and on leaving, control loops."""
    lines = []
    for label, text in (
        ("entry", commands(state.on_entry)),
        ("leave", commands(state.on_leave)),
        ("loops", ", ".join(state.loops)),
    ):
        if text:
            lines += textwrap.wrap(f"{label}: {text}", _WIDTH, subsequent_indent="  ")
    return lines
