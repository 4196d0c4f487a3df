"""What a condition depends on: directly, and through the estimates that it reads."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from sequencer.documents import Loc
from sequencer.expressions import InState, Node, variables, walk
from sequencer.sequence import Exit, Sequence

__all__ = ["Sources", "exits_of", "place_of", "readers", "sources"]


@dataclass(frozen=True, slots=True)
class Sources:
    """What stands behind an expression, each in the order in which it is met.

    inputs     whose value is read, or whose refreshes are waited for
    ages       inputs of which only the age is read
    flags      flags that are read
    states     whether it asks for the state
    """

    inputs: tuple[str, ...] = ()
    ages: tuple[str, ...] = ()
    flags: tuple[str, ...] = ()
    states: bool = False

    def __or__(self, other: Sources) -> Sources:
        return Sources(
            tuple(dict.fromkeys(self.inputs + other.inputs)),
            tuple(dict.fromkeys(self.ages + other.ages)),
            tuple(dict.fromkeys(self.flags + other.flags)),
            self.states or other.states,
        )

    @property
    def sensed(self) -> frozenset[str]:
        """Inputs of which anything is read, be it only their age."""
        return frozenset(self.inputs + self.ages)


def sources(logic: Sequence, node: Node) -> Sources:
    """What an expression depends on, through estimates to their ends."""
    found = Sources(states=any(isinstance(part, InState) for part in walk(node)))
    for name in variables(node):
        if name in logic.inputs:
            found |= Sources(inputs=(name,))
        elif name in logic.flags:
            found |= Sources(flags=(name,))
        elif name in logic.estimates:
            found |= _of_estimate(logic, name)
    return found


def _of_estimate(logic: Sequence, name: str) -> Sources:
    block = logic.estimates[name].block
    found = Sources()
    for _, node in block.arguments:
        found |= sources(logic, node)
    if block.gate is not None:
        found |= Sources(inputs=(block.gate,))
    if block.kind == "age" and block.subject is not None:
        found |= Sources(ages=(block.subject,))
    return found


def exits_of(logic: Sequence) -> Iterator[Exit]:
    """All exits, those of states first, then the common ones, as in the file."""
    for state in logic.states.values():
        yield from state.exits
    yield from logic.common_exits


def place_of(way: Exit) -> str:
    """An exit for a reader: "'burnt out' of 'ascent'", "common exit 'tilt abort'"."""
    return f"common exit '{way.name}'" if way.common else f"'{way.name}' of '{way.sources[0]}'"


def readers(logic: Sequence) -> Iterator[tuple[Loc, Node]]:
    """Every expression of a sequence with its place."""
    for name, estimate in logic.estimates.items():
        for _, node in estimate.block.arguments:
            yield ("estimates", name), node
    for name, inhibit in logic.inhibits.items():
        yield ("inhibits", name), inhibit.condition
    for name, loop in logic.loops.items():
        for _, node in loop.block.arguments:
            yield ("loops", name), node
    for name, state in logic.states.items():
        for index, way in enumerate(state.exits):
            yield ("states", name, "exits", index), way.condition
    for index, way in enumerate(logic.common_exits):
        yield ("common_exits", index), way.condition
