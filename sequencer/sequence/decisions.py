"""The conditions of exits and inhibits, taken apart: what decides, and how it is put together.

A *decision* is a condition as a whole; its *leaves* are what `and`, `or`, `not` connect:
comparisons, truths (inputs, estimates, flags) and `in_state`. The same leaf standing twice is one
leaf, for nobody can change one and not the other; so are a comparison and its opposite (`x < a`,
`x >= a`, `a <= x`), which are good and bad together.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from sequencer.expressions import (
    TURNED,
    And,
    Comparison,
    LimitCosine,
    Node,
    Not,
    Number,
    Or,
    Truth,
    Variable,
)
from sequencer.sequence.model import Exit, Inhibit, Limit
from sequencer.sequence.model import Sequence as FlightLogic

__all__ = [
    "FALSE",
    "OPPOSITE",
    "TRUE",
    "UNKNOWN",
    "Decision",
    "Shape",
    "decisions_of",
    "leaves_of",
    "outcome",
]

FALSE: Final = 0
TRUE: Final = 1
UNKNOWN: Final = 2

#: index of a leaf, or ("and" | "or" | "not" | "true" | "false", operands)
Shape = int | tuple[str, tuple["Shape", ...]]

#: a comparison that is not `<` is `>=`; unknown ones are unknown both ways
OPPOSITE: Final[Mapping[str, str]] = {
    "<": ">=", ">=": "<", ">": "<=", "<=": ">", "==": "!=", "!=": "==",
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Decision:
    """A condition taken apart.

    of       the exit or inhibit that it is the condition of
    leaves   each once, as they are written where they come first
    shape    how they are put together
    """

    of: Exit | Inhibit
    leaves: tuple[Node, ...]
    shape: Shape

    @property
    def name(self) -> str:
        """That of the exit or inhibit."""
        return self.of.name

    @property
    def is_exit(self) -> bool:
        """Whether it is the condition of an exit, which acts only by being taken."""
        return isinstance(self.of, Exit)


def decisions_of(sequence: FlightLogic) -> tuple[Decision, ...]:
    """Those of all exits (common ones first, then by state), then those of all inhibits."""
    own = [way for state in sequence.states.values() for way in state.exits]
    every: list[Exit | Inhibit] = [*sequence.common_exits, *own, *sequence.inhibits.values()]
    return tuple(_Taken(sequence.limits).apart(one) for one in every)


def leaves_of(sequence: FlightLogic, condition: Node) -> tuple[Node, ...]:
    """The leaves of any condition of a sequence, each once."""
    taken = _Taken(sequence.limits)
    taken.shape(condition)
    return tuple(taken.leaves)


def outcome(shape: Shape, values: Sequence[int]) -> int:
    """What a decision comes to, in Kleene's logic: FALSE, TRUE or UNKNOWN.

    values   of the leaves, one of those three each
    """
    if isinstance(shape, int):
        return values[shape]
    word, operands = shape
    if word in ("true", "false"):
        return TRUE if word == "true" else FALSE
    found = [outcome(operand, values) for operand in operands]
    if word == "not":
        return UNKNOWN if found[0] == UNKNOWN else 1 - found[0]
    settles = FALSE if word == "and" else TRUE
    if settles in found:
        return settles
    return UNKNOWN if UNKNOWN in found else 1 - settles


class _Taken:
    """Leaves of one decision, as they are found."""

    def __init__(self, limits: Mapping[str, Limit]) -> None:
        self._limits = limits
        self.leaves: list[Node] = []
        self._known: dict[Node, tuple[int, bool]] = {}

    def apart(self, of: Exit | Inhibit) -> Decision:
        shape = self.shape(of.condition)
        return Decision(of, tuple(self.leaves), shape)

    def shape(self, node: Node) -> Shape:
        match node:
            case And(operands):
                return "and", tuple(self.shape(operand) for operand in operands)
            case Or(operands):
                return "or", tuple(self.shape(operand) for operand in operands)
            case Not(operand):
                return "not", (self.shape(operand),)
            case Truth(value):
                return ("true" if value else "false"), ()
        key, opposite = self._key(node)
        if key not in self._known:
            self._known[key] = len(self.leaves), opposite
            self.leaves.append(node)
        index, first = self._known[key]
        return index if first == opposite else ("not", (index,))

    def _key(self, leaf: Node) -> tuple[Node, bool]:
        """What is equal for equal leaves and for opposite ones; and which of the two it is."""
        if not isinstance(leaf, Comparison):
            return leaf, False
        operator, left, right = leaf.operator, leaf.left, leaf.right
        constant = self._constant(left), self._constant(right)
        if constant == (True, False) or (constant[0] == constant[1] and repr(left) > repr(right)):
            operator, left, right = TURNED[operator], right, left
        opposite = operator in (">=", "<=", "!=")
        return Comparison(OPPOSITE[operator] if opposite else operator, left, right), opposite

    def _constant(self, node: Node) -> bool:
        if isinstance(node, Variable):
            return node.name in self._limits
        return isinstance(node, Number | LimitCosine)
