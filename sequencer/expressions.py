"""Expression trees: what a condition or an estimate says, once its text has been understood.

The text is a small part of Python's expression grammar; names are resolved, units checked and
chained comparisons split when it is parsed, so that whoever evaluates a tree meets only the node
types below. A comparison with a *tilt* (an angle kept as its cosine, because nothing on the tick
path may call a maths library) has already been turned round: `tilt > tilt_max` becomes
`tilt < cosine of tilt_max`.
"""

from __future__ import annotations

from dataclasses import dataclass

__all__ = [
    "And",
    "Arithmetic",
    "Comparison",
    "Function",
    "InState",
    "LimitCosine",
    "Negate",
    "Node",
    "Not",
    "Number",
    "Or",
    "Truth",
    "Variable",
]


@dataclass(frozen=True, slots=True)
class Node:
    """Root of the node types."""


@dataclass(frozen=True, slots=True)
class Number(Node):
    """A literal number."""

    value: float


@dataclass(frozen=True, slots=True)
class Truth(Node):
    """`True` or `False`."""

    value: bool


@dataclass(frozen=True, slots=True)
class Variable(Node):
    """The present value of a declared name: input, estimate, limit, flag or `time_in_state`."""

    name: str


@dataclass(frozen=True, slots=True)
class LimitCosine(Node):
    """The cosine of a limit that is an angle; stands only in comparisons with a tilt."""

    name: str


@dataclass(frozen=True, slots=True)
class Negate(Node):
    """Minus the operand."""

    operand: Node


@dataclass(frozen=True, slots=True)
class Arithmetic(Node):
    """`left operator right` with one of ``+ - * /``."""

    operator: str
    left: Node
    right: Node


@dataclass(frozen=True, slots=True)
class Function(Node):
    """`abs`, `sqrt` (one argument), `min`, `max` (two arguments, nested for more)."""

    name: str
    arguments: tuple[Node, ...]


@dataclass(frozen=True, slots=True)
class Comparison(Node):
    """`left operator right` with one of ``< <= > >= == !=``; unknown if a side is bad."""

    operator: str
    left: Node
    right: Node


@dataclass(frozen=True, slots=True)
class And(Node):
    """Kleene conjunction of two or more operands."""

    operands: tuple[Node, ...]


@dataclass(frozen=True, slots=True)
class Or(Node):
    """Kleene disjunction of two or more operands."""

    operands: tuple[Node, ...]


@dataclass(frozen=True, slots=True)
class Not(Node):
    """Kleene negation."""

    operand: Node


@dataclass(frozen=True, slots=True)
class InState(Node):
    """True while the sequence is in one of these states."""

    states: tuple[str, ...]
