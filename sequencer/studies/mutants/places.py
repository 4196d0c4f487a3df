"""Parts of a sequence put in the place of others, and what a part has to do with."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import replace
from types import MappingProxyType
from typing import TypeVar

from sequencer.expressions import Node, variables
from sequencer.sequence import Sequence
from sequencer.sequence.model import Command, Exit, Function, State
from sequencer.studies.mutants.model import Shows

__all__ = ["Danger", "exits_of", "readers", "with_entry", "with_exit", "with_state"]

_T = TypeVar("_T")
#: kinds of functions that set something off which cannot be taken back
_FIRES = frozenset({"igniter", "separation", "parachute", "release"})


def with_entry(table: Mapping[str, _T], name: str, value: _T) -> Mapping[str, _T]:
    """A table with another value under a name that it has; the order stays."""
    return MappingProxyType({**table, name: value})


def with_state(sequence: Sequence, state: State) -> Sequence:
    """The sequence with a state in the place of that of the same name."""
    return replace(sequence, states=with_entry(sequence.states, state.name, state))


def with_exit(sequence: Sequence, way: Exit, other: Exit | None) -> Sequence:
    """The sequence with another exit in the place of `way`, or without it."""

    def changed(ways: tuple[Exit, ...]) -> tuple[Exit, ...]:
        found = ((other if each.name == way.name else each) for each in ways)
        return tuple(each for each in found if each is not None)

    if way.common:
        return replace(sequence, common_exits=changed(sequence.common_exits))
    state = sequence.states[way.sources[0]]
    return with_state(sequence, replace(state, exits=changed(state.exits)))


def exits_of(sequence: Sequence) -> Iterator[Exit]:
    """All exits: the common ones, then those of each state."""
    yield from sequence.common_exits
    for state in sequence.states.values():
        yield from state.exits


def readers(sequence: Sequence, name: str) -> Shows:
    """Where an estimate or a limit can make a difference: in the states whose exits read it.

    Itself or through estimates. Anywhere, if something else reads it too: a loop, an inhibit or a
    message.
    """
    names = {name}
    for estimate in sequence.estimates.values():
        block = estimate.block
        read = {found for _, node in block.arguments for found in variables(node)}
        if names & (read | {block.subject}):
            names.add(estimate.name)
    published = sequence.publication.fields if sequence.publication is not None else ()
    others = [inhibit.condition for inhibit in sequence.inhibits.values()]
    subjects = set(published)
    for loop in sequence.loops.values():
        others.extend(node for _, node in loop.block.arguments)
        subjects.add(loop.block.subject or "")
    if names & subjects or any(names & set(variables(node)) for node in others):
        return Shows()
    states = {
        state
        for way in exits_of(sequence)
        if names & set(variables(way.condition))
        for state in way.sources
    }
    return Shows("entered", frozenset(states), names != {name} or name in sequence.estimates)


class Danger:
    """Tells what touches firing, inhibits or aborts.

    Firing: a command to an igniter, a separation, a parachute or a hold-down, and an exit that
    leads to one, by its own commands or those on entry to where it leads. Inhibits: what their
    conditions read, through estimates, and the commands that change a flag which they read.
    Aborts: exits that have the word in their name, or lead to a state that has it in its.
    """

    def __init__(self, sequence: Sequence) -> None:
        self._sequence = sequence
        self._fires = {
            name for name, function in sequence.functions.items() if function.kind in _FIRES
        }
        self._read = _reach(sequence, (inhibit.condition for inhibit in sequence.inhibits.values()))

    def command(self, command: Command) -> bool:
        """Whether a command does."""
        if command.verb in ("set", "clear"):
            return command.name in self._read
        return command.name in self._fires

    def exit(self, way: Exit) -> bool:
        """Whether an exit does."""
        if "abort" in way.name or "abort" in way.to:
            return True
        commands = (*way.actions, *self._sequence.states[way.to].on_entry)
        return any(command.name in self._fires and command.verb != "cut" for command in commands)

    def estimate(self, name: str) -> bool:
        """Whether an inhibit reads an estimate."""
        return name in self._read

    def function(self, function: Function) -> bool:
        """Whether what is done to a function does."""
        return function.name in self._fires


def _reach(sequence: Sequence, conditions: Iterable[Node]) -> set[str]:
    """Names that conditions read, themselves or through estimates."""
    found: set[str] = set()
    waiting = [name for condition in conditions for name in variables(condition)]
    while waiting:
        name = waiting.pop()
        if name in found:
            continue
        found.add(name)
        estimate = sequence.estimates.get(name)
        if estimate is not None:
            for _, node in estimate.block.arguments:
                waiting.extend(variables(node))
    return found
