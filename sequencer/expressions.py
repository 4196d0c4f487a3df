"""Expression trees: what a condition or an estimate says, once its text has been understood.

The text is a small part of Python's expression grammar; names are resolved, units checked and
chained comparisons split when it is parsed, so that whoever evaluates a tree meets only the node
types below. A comparison with a *tilt* (an angle kept as its cosine, because nothing on the tick
path may call a maths library) has already been turned round: `tilt > tilt_max` becomes
`tilt < cosine of tilt_max`.
"""

from __future__ import annotations

from collections.abc import Iterator
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
    "unparse",
    "variables",
    "walk",
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


def children(node: Node) -> tuple[Node, ...]:
    """The nodes right below this one, from left to right."""
    match node:
        case Negate(operand) | Not(operand):
            return (operand,)
        case Arithmetic(_, left, right) | Comparison(_, left, right):
            return (left, right)
        case Function(_, operands) | And(operands) | Or(operands):
            return operands
        case _:
            return ()


def walk(node: Node) -> Iterator[Node]:
    """This node and all below it, parents first, from left to right."""
    yield node
    for child in children(node):
        yield from walk(child)


def variables(node: Node) -> tuple[str, ...]:
    """The declared names that an expression reads, each once, in the order of the text."""
    found = (part.name for part in walk(node) if isinstance(part, Variable | LimitCosine))
    return tuple(dict.fromkeys(found))


#: A comparison of two angles says the same as the turned comparison of their cosines.
TURNED = {"<": ">", "<=": ">=", ">": "<", ">=": "<=", "==": "==", "!=": "!="}

# How tightly a node holds together; an operand that holds less tightly needs brackets.
_OR, _AND, _NOT, _COMPARISON, _SUM, _PRODUCT, _NEGATE, _ATOM = range(8)


def unparse(node: Node) -> str:
    """The expression as text; parsing it again gives an equal tree.

    Split chains stay split (``a < b and b < c``), tilts stand as angles again.
    """
    return _written(node)[0]


def _written(node: Node) -> tuple[str, int]:  # noqa: C901, PLR0911 - one branch a node type
    match node:
        case Number(value):
            whole = value == int(value) and value < 1e15
            return (f"{value:.0f}" if whole else repr(value)), _ATOM
        case Truth(value):
            return str(value), _ATOM
        case Variable(name) | LimitCosine(name):
            return name, _ATOM
        case InState(states):
            return f"in_state({', '.join(states)})", _ATOM
        case Function(name, arguments):
            return f"{name}({', '.join(map(unparse, arguments))})", _ATOM
        case Negate(operand):
            return f"-{_bracketed(operand, _NEGATE)}", _NEGATE
        case Arithmetic(operator, left, right):
            tight = _SUM if operator in "+-" else _PRODUCT
            # + and * too group to the left: rounding makes the order matter
            text = f"{_bracketed(left, tight)} {operator} {_bracketed(right, tight + 1)}"
            return text, tight
        case Comparison(operator, left, right):
            if isinstance(left, LimitCosine) or isinstance(right, LimitCosine):
                operator = TURNED[operator]
            return f"{_bracketed(left, _SUM)} {operator} {_bracketed(right, _SUM)}", _COMPARISON
        case Not(operand):
            return f"not {_bracketed(operand, _NOT)}", _NOT
        case And(operands):
            return " and ".join(_bracketed(operand, _AND + 1) for operand in operands), _AND
        case Or(operands):
            return " or ".join(_bracketed(operand, _OR + 1) for operand in operands), _OR
    raise TypeError(f"no expression node: {node!r}")


def _bracketed(node: Node, least: int) -> str:
    text, tight = _written(node)
    return text if tight >= least else f"({text})"
