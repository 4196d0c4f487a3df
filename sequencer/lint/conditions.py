"""Every condition of a sequence, with its place and the words for it."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from sequencer.documents import Loc
from sequencer.expressions import Node
from sequencer.lint.reading import place_of
from sequencer.sequence import Exit, Sequence

__all__ = ["Condition", "conditions_of"]


@dataclass(frozen=True, slots=True)
class Condition:
    """A condition where it stands.

    kind     "exit", "inhibit", "estimate", or the key of a block's argument ("reset_when")
    name     of the exit, inhibit or estimate
    title    for a reader
    states   in which it is asked; empty: in all
    way      the exit that it belongs to
    """

    node: Node
    at: Loc | int
    kind: str
    name: str
    title: str
    states: tuple[str, ...] = ()
    way: Exit | None = None


def conditions_of(logic: Sequence) -> Iterator[Condition]:
    """All conditions: of estimates, inhibits, states' exits, common exits, as in the file."""
    for name, estimate in logic.estimates.items():
        block, at = estimate.block, ("estimates", name)
        for key, node in block.arguments:
            if block.kind == "expression":
                if estimate.unit == "bool":
                    yield Condition(node, at, "estimate", name, f"estimate '{name}'")
            elif block.kind == "vote":
                number = key.removeprefix("member_")
                yield Condition(node, at, "member", name, f"member {number} of '{name}'")
            elif key == "while" or key.endswith("_when"):
                yield Condition(node, at, key, name, f"'{key}' of '{name}'")
    for name, inhibit in logic.inhibits.items():
        at = ("inhibits", name)
        yield Condition(inhibit.condition, at, "inhibit", name, f"inhibit '{name}'")
    ways = [way for state in logic.states.values() for way in state.exits]
    for way in (*ways, *logic.common_exits):
        yield Condition(way.condition, way.line, "exit", way.name, place_of(way), way.sources, way)
