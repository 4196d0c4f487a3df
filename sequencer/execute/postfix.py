"""Expressions as postfix code for the interpreter, and the pool of numbers that they refer to."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from sequencer.errors import InternalError
from sequencer.execute.layout import Op
from sequencer.expressions import (
    And,
    Arithmetic,
    Comparison,
    Function,
    InState,
    LimitCosine,
    Negate,
    Node,
    Not,
    Number,
    Or,
    Truth,
    Variable,
)
from sequencer.sequence.model import Limit

__all__ = ["Pool", "Reader"]

_ARITHMETIC = {"+": Op.ADD, "-": Op.SUBTRACT, "*": Op.MULTIPLY, "/": Op.DIVIDE}
_FUNCTIONS = {"abs": Op.ABS, "sqrt": Op.SQRT, "min": Op.MIN, "max": Op.MAX}
_COMPARISONS = {
    "<": Op.LESS,
    "<=": Op.LESS_EQUAL,
    ">": Op.GREATER,
    ">=": Op.GREATER_EQUAL,
    "==": Op.EQUAL,
    "!=": Op.NOT_EQUAL,
}


class Pool:
    """All floats of the tables.

    positions   index of a number that is a servo's position -> its name
    """

    def __init__(self) -> None:
        self.numbers: list[float] = []
        self.positions: dict[int, str] = {}

    def place(self, values: list[float]) -> int:
        """Index of the first of the values, which stand one after the other."""
        at = len(self.numbers)
        self.numbers.extend(values)
        return at


class Reader:
    """Turns trees into code; `deepest` is the number of values that any of it keeps at once."""

    def __init__(
        self,
        pool: Pool,
        cells: Mapping[str, int],
        states: Mapping[str, int],
        limits: Mapping[str, Limit],
    ) -> None:
        self._pool = pool
        self._cells = cells
        self._states = states
        self._limits = limits
        self.deepest = 0

    def code(self, node: Node) -> list[int]:
        """The code of an expression, with its end."""
        return [*self._emit(node, 1), Op.END]

    def _emit(self, node: Node, depth: int) -> Iterator[int]:
        """`depth` is the number of values on the stack once this node has left its own there."""
        self.deepest = max(self.deepest, depth)
        match node:
            case Number() | Truth() | LimitCosine() | Variable():
                yield from self._leaf(node)
            case InState(states):
                yield from (Op.IN_STATE, len(states), *(self._states[name] for name in states))
            case Negate(operand):
                yield from self._call(Op.NEGATE, (operand,), depth)
            case Not(operand):
                yield from self._call(Op.NOT, (operand,), depth)
            case Arithmetic(operator, left, right):
                yield from self._call(_ARITHMETIC[operator], (left, right), depth)
            case Comparison(operator, left, right):
                yield from self._call(_COMPARISONS[operator], (left, right), depth)
            case Function(name, arguments):
                yield from self._call(_FUNCTIONS[name], arguments, depth)
            case And(operands) | Or(operands):
                op = Op.AND if isinstance(node, And) else Op.OR
                yield from self._emit(operands[0], depth)
                for operand in operands[1:]:
                    yield from self._emit(operand, depth + 1)
                    yield op
            case _:
                raise InternalError(f"expression node {type(node).__name__} has no code")

    def _call(self, op: Op, operands: tuple[Node, ...], depth: int) -> Iterator[int]:
        for index, operand in enumerate(operands):
            yield from self._emit(operand, depth + index)
        yield op

    def _leaf(self, node: Node) -> tuple[int, int]:
        if isinstance(node, Number | Truth):
            return Op.NUMBER, self._pool.place([float(node.value)])
        if isinstance(node, LimitCosine):
            cosine = self._limits[node.name].cosine
            if cosine is None:
                raise InternalError(f"limit '{node.name}' has no cosine")
            return Op.NUMBER, self._pool.place([cosine])
        if isinstance(node, Variable) and node.name in self._limits:
            return Op.NUMBER, self._pool.place([self._limits[node.name].value])
        if isinstance(node, Variable) and node.name in self._cells:
            return Op.CELL, self._cells[node.name]
        raise InternalError(f"expression reads '{node}', which has no cell")
