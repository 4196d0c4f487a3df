"""Mutants of commands, functions, inhibits, estimates and limits."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace

from sequencer.expressions import Node
from sequencer.sequence import Command, Exit, Limit, Sequence
from sequencer.studies.mutants.lines import Lines
from sequencer.studies.mutants.model import Kind, Mutant, Shows
from sequencer.studies.mutants.places import (
    Danger,
    exits_of,
    readers,
    with_entry,
    with_exit,
    with_state,
)
from sequencer.studies.mutants.terms import alterations, is_condition
from sequencer.units import unit

__all__ = [
    "command_mutants",
    "estimate_mutants",
    "function_mutants",
    "inhibit_mutants",
    "limit_mutants",
]

#: by how much a limit is moved, as a share of itself
_SHARE = 0.1


def _written(command: Command) -> str:
    return " ".join(filter(None, (command.verb, command.name, command.position)))


def command_mutants(sequence: Sequence, lines: Lines, danger: Danger) -> Iterator[Mutant]:
    """Every command left out."""

    def mutant(command: Command, line: int, where: str, shows: Shows, without: Sequence) -> Mutant:
        text = _written(command)
        return Mutant(
            id=f"{Kind.ACTION_REMOVED}: {text} ({where})",
            kind=Kind.ACTION_REMOVED,
            line=line,
            change=f"{where} does not '{text}'",
            about=where,
            shows=shows,
            critical=danger.command(command),
            sequence=without,
        )

    def without(way: Exit, index: int) -> Sequence:
        left = way.actions[:index] + way.actions[index + 1 :]
        return with_exit(sequence, way, replace(way, actions=left))

    for way in exits_of(sequence):
        for i, command in enumerate(way.actions):
            line = lines.exit(way, "do", i)
            where = f"'{way.name}'"
            shows = Shows("took", frozenset({way.name}))
            yield mutant(command, line, where, shows, without(way, i))
    for state in sequence.states.values():
        for key, word in (("on_entry", "entering"), ("on_leave", "leaving")):
            commands: tuple[Command, ...] = getattr(state, key)
            for i, command in enumerate(commands):
                left = commands[:i] + commands[i + 1 :]
                other = (
                    replace(state, on_entry=left)
                    if key == "on_entry"
                    else replace(state, on_leave=left)
                )
                line = lines.at("states", state.name, key, i)
                where = f"{word} {state.name}"
                shows = Shows("entered", frozenset({state.name}))
                yield mutant(command, line, where, shows, with_state(sequence, other))


def function_mutants(sequence: Sequence, lines: Lines, danger: Danger) -> Iterator[Mutant]:
    """Every inhibit taken off every function, and every pulse halved and doubled."""
    for function in sequence.functions.values():
        shows = Shows("told", frozenset({function.name}))
        for i, inhibit in enumerate(function.inhibits):
            left = function.inhibits[:i] + function.inhibits[i + 1 :]
            yield Mutant(
                id=f"{Kind.INHIBIT_REMOVED}: {inhibit} of {function.name}",
                kind=Kind.INHIBIT_REMOVED,
                line=lines.at("functions", function.name, "inhibits", i),
                change=f"'{inhibit}' does not inhibit {function.name}",
                about=f"function {function.name}",
                shows=shows,
                critical=True,
                sequence=replace(
                    sequence,
                    functions=with_entry(
                        sequence.functions, function.name, replace(function, inhibits=left)
                    ),
                ),
            )
        if not function.pulse_ticks:
            continue
        for kind, ticks in (
            (Kind.PULSE_HALVED, function.pulse_ticks // 2),
            (Kind.PULSE_DOUBLED, function.pulse_ticks * 2),
        ):
            if ticks == 0:
                continue
            was = function.pulse_ticks / sequence.rate_hz
            yield Mutant(
                id=f"{kind}: {function.name}",
                kind=kind,
                line=lines.at("functions", function.name, "pulse_s"),
                change=f"{function.name} is on for {ticks / sequence.rate_hz:g} s instead of "
                f"{was:g} s",
                about=f"function {function.name}",
                shows=shows,
                critical=danger.function(function),
                sequence=replace(
                    sequence,
                    functions=with_entry(
                        sequence.functions, function.name, replace(function, pulse_ticks=ticks)
                    ),
                ),
            )


def inhibit_mutants(sequence: Sequence, lines: Lines) -> Iterator[Mutant]:
    """The condition of every inhibit, altered."""
    for inhibit in sequence.inhibits.values():
        inhibited = (f.name for f in sequence.functions.values() if inhibit.name in f.inhibits)
        shows = Shows("told", frozenset(inhibited))
        for altered in alterations(inhibit.condition):
            change = f"'{inhibit.name}' does not look at '{altered.was}'"
            if altered.now is not None:
                change = (
                    f"'{inhibit.name}' is in place on '{altered.now}' instead of '{altered.was}'"
                )
            yield Mutant(
                id=f"{altered.kind} of inhibit {inhibit.name}: {altered.was}",
                kind=altered.kind,
                line=lines.at("inhibits", inhibit.name, "in_place_when"),
                change=change,
                about=f"inhibit {inhibit.name}",
                shows=shows,
                critical=True,
                sequence=replace(
                    sequence,
                    inhibits=with_entry(
                        sequence.inhibits, inhibit.name, replace(inhibit, condition=altered.node)
                    ),
                ),
            )


def estimate_mutants(sequence: Sequence, lines: Lines, danger: Danger) -> Iterator[Mutant]:
    """Every condition that an estimate takes, altered, and every member of a vote left out."""
    for estimate in sequence.estimates.values():
        shows = readers(sequence, estimate.name)
        block = estimate.block
        for i, (key, node) in enumerate(block.arguments):
            changes: list[tuple[Kind, str, str | None, tuple[tuple[str, Node], ...]]] = []
            if is_condition(node, sequence):
                changes = [
                    (found.kind, found.was, found.now, ((key, found.node),))
                    for found in alterations(node)
                ]
            if block.kind == "vote":
                member = next(iter(changes))[1]
                changes.append((Kind.TERM_DROPPED, member, None, ()))
            for kind, was, now, put in changes:
                change = f"'{estimate.name}' does not look at '{was}'"
                if now is not None:
                    change = f"'{estimate.name}' looks at '{now}' instead of '{was}'"
                other = (*block.arguments[:i], *put, *block.arguments[i + 1 :])
                yield Mutant(
                    id=f"{kind} of estimate {estimate.name}: {was}",
                    kind=kind,
                    line=lines.at("estimates", estimate.name),
                    change=change,
                    about=f"estimate {estimate.name}",
                    shows=shows,
                    critical=danger.estimate(estimate.name),
                    sequence=replace(
                        sequence,
                        estimates=with_entry(
                            sequence.estimates,
                            estimate.name,
                            replace(estimate, block=replace(block, arguments=other)),
                        ),
                    ),
                )


def limit_mutants(sequence: Sequence, lines: Lines) -> Iterator[Mutant]:
    """Every limit moved by 10 % and by its own tolerance, both ways."""
    for limit in sequence.limits.values():
        shows = readers(sequence, limit.name)
        share = abs(limit.value) * _SHARE
        for kind, by in (
            (Kind.LIMIT_RAISED, share),
            (Kind.LIMIT_LOWERED, -share),
            (Kind.TOLERANCE_ABOVE, limit.tolerance),
            (Kind.TOLERANCE_BELOW, -limit.tolerance),
        ):
            moved = _moved(limit, by)
            if moved is None:
                continue
            yield Mutant(
                id=f"{kind}: {limit.name}",
                kind=kind,
                line=lines.at("limits", limit.name),
                change=f"{limit.name} is {_size(moved)} instead of {_size(limit)}",
                about=f"limit {limit.name}",
                shows=shows,
                critical=False,
                sequence=replace(sequence, limits=with_entry(sequence.limits, limit.name, moved)),
            )


def _moved(limit: Limit, by: float) -> Limit | None:
    """The limit moved; None where that is not possible."""
    value = limit.value + by
    if value == limit.value:
        return None
    if limit.cosine is None:
        return replace(limit, value=value)
    # as an angle that is compared with a tilt it has to stay within 0 and 180 deg
    if 0 <= limit.value <= math.pi and not 0 <= value <= math.pi:
        return None
    return replace(limit, value=value, cosine=math.cos(value))


def _size(limit: Limit) -> str:
    symbol = "" if limit.unit == "1" else f" {limit.unit}"
    return f"{unit(limit.unit).from_si(limit.value):.6g}{symbol}"
