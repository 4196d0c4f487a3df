"""What the commands of a step bring about, and which functions can be on where."""

from __future__ import annotations

from collections.abc import Mapping

from sequencer.lint.reaching import Configuration, Reach, Step, steps_commands
from sequencer.sequence.model import Command, Sequence

__all__ = ["effect", "may_be_on"]


def effect(sequence: Sequence, step: Step, on: frozenset[str]) -> tuple[object, ...]:
    """Changes of flags and commands, in their order, without those that do nothing.

    Nothing happens when a flag is set that is set already, when a servo is moved that is moved
    again on the same tick, when a function is commanded again without a cut between, or when one is
    cut that is certainly off.

    on    pulsed functions that may be on before
    """
    commands = tuple(steps_commands(sequence, step.source, step.way, step.after.state))
    flags = dict(zip(sequence.flags, step.before, strict=True))
    changes: list[tuple[str, str]] = []
    queue: list[Command] = []
    for command in commands:
        if command.verb not in ("set", "clear"):
            queue.append(command)
        elif flags[command.name] is not (command.verb == "set"):
            flags[command.name] = command.verb == "set"
            changes.append((command.verb, command.name))
    return (*changes, *_carried_out(queue, on))


def _carried_out(queue: list[Command], on: frozenset[str]) -> list[Command]:
    last_move = {c.name: index for index, c in enumerate(queue) if c.verb == "move"}
    commanded: set[str] = set()
    maybe_on = set(on)
    found = []
    for index, command in enumerate(queue):
        if command.verb == "move":
            if last_move[command.name] == index:
                found.append(command)
        elif command.verb == "cut":
            commanded.discard(command.name)
            if command.name in maybe_on:
                found.append(command)
            maybe_on.discard(command.name)
        elif command.name not in commanded:
            commanded.add(command.name)
            maybe_on.add(command.name)
            found.append(command)
    return found


def may_be_on(reach: Reach) -> Mapping[Configuration, frozenset[str]]:
    """Pulsed functions that may be on in each configuration, after the commands that led there."""
    sequence = reach.solver.sequence
    found: dict[Configuration, frozenset[str]] = dict.fromkeys(reach.configurations, frozenset())
    moved = True
    while moved:
        moved = False
        for step in reach.steps:
            on = set(found[Configuration(step.source, step.before)] if step.source else ())
            for command in steps_commands(sequence, step.source, step.way, step.after.state):
                if command.verb == "cut":
                    on.discard(command.name)
                elif command.verb not in ("set", "clear", "move"):
                    on.add(command.name)
            if not on <= found[step.after]:
                found[step.after] |= on
                moved = True
    return found
