"""Expressions as code for the interpreter, and the pool of the other numbers of the tables.

The code is that of a machine with one result and a stack: postfix order, but an operand that is a
cell needs no step of its own.
"""

from __future__ import annotations

import math
from collections.abc import Mapping

from sequencer.errors import InternalError
from sequencer.execute.layout import CELL_WIDTH, NONE, Op
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
_BUT = {Op.AND: Op.AND_NOT, Op.OR: Op.OR_NOT}


class Pool:
    """All floats of the tables but those in expressions.

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
    """Turns trees into code.

    cells          name -> place
    states         in their order
    constants_at   place of the first of `constants`, the numbers that the code reads from cells
    deepest        results that any of the code saves at once
    """

    def __init__(
        self,
        cells: Mapping[str, int],
        states: tuple[str, ...],
        limits: Mapping[str, Limit],
        constants_at: int,
    ) -> None:
        self._cells = cells
        self._states = states
        self._limits = limits
        self._constants_at = constants_at
        self._places: dict[tuple[float, float], int] = {}
        self.constants: list[float] = []
        self.deepest = 0

    def code(self, node: Node) -> list[int]:
        """The code of an expression: how long it is, then its steps."""
        steps = [0]
        self._emit(steps, node, 0, saves=False)
        steps[0] = len(steps) - 1
        return steps

    def _emit(self, steps: list[int], node: Node, depth: int, *, saves: bool) -> None:
        """Append steps that have the node as their result.

        depth   of the stack before them
        saves   whether what was the result before is saved first
        """
        after = depth + int(saves)
        self.deepest = max(self.deepest, after)
        match node:
            case Number() | Truth() | LimitCosine() | Variable():
                steps += Op.SAVE_AND_TAKE if saves else Op.TAKE, self._place(node)
            case InState(states):
                if saves:
                    steps += Op.SAVE, NONE
                here = (int(name in states) for name in self._states)
                steps += Op.IN_STATE, len(self._states), *here
            case Negate(operand):
                self._emit(steps, operand, depth, saves=saves)
                steps += Op.NEGATE, NONE
            case Not(operand):
                self._emit(steps, operand, depth, saves=saves)
                steps += Op.NOT, NONE
            case Arithmetic(operator, left, right):
                self._emit(steps, left, depth, saves=saves)
                self._with(steps, _ARITHMETIC[operator], right, after)
            case Comparison(operator, left, right):
                self._emit(steps, left, depth, saves=saves)
                self._with(steps, _COMPARISONS[operator], right, after)
            case Function(name, (operand,)):
                self._emit(steps, operand, depth, saves=saves)
                steps += _FUNCTIONS[name], NONE
            case Function(name, (left, right)):
                self._emit(steps, left, depth, saves=saves)
                self._with(steps, _FUNCTIONS[name], right, after)
            case And(operands) | Or(operands):
                op = Op.AND if isinstance(node, And) else Op.OR
                self._emit(steps, operands[0], depth, saves=saves)
                for operand in operands[1:]:
                    self._with(steps, op, operand, after)
            case _:
                raise InternalError(f"expression node {type(node).__name__} has no code")

    def _with(self, steps: list[int], op: Op, right: Node, depth: int) -> None:
        """Append an operation whose left side is the result so far."""
        if isinstance(right, Not) and op in _BUT and _is_cell(right.operand):
            steps += _BUT[op], self._place(right.operand)
        elif _is_cell(right):
            steps += op, self._place(right)
        else:
            self._emit(steps, right, depth, saves=True)
            steps += op, NONE

    def _place(self, node: Node) -> int:
        if isinstance(node, Number | Truth):
            return self._constant(float(node.value))
        if isinstance(node, LimitCosine):
            cosine = self._limits[node.name].cosine
            if cosine is None:
                raise InternalError(f"limit '{node.name}' has no cosine")
            return self._constant(cosine)
        if isinstance(node, Variable) and node.name in self._limits:
            return self._constant(self._limits[node.name].value)
        if isinstance(node, Variable) and node.name in self._cells:
            return self._cells[node.name]
        raise InternalError(f"expression reads '{node}', which has no cell")

    def _constant(self, number: float) -> int:
        """Place of a number; equal ones share it, but 0.0 and -0.0 do not."""
        key = (number, math.copysign(1.0, number))
        if key not in self._places:
            self._places[key] = self._constants_at + CELL_WIDTH * len(self.constants)
            self.constants.append(number)
        return self._places[key]


def _is_cell(node: Node) -> bool:
    return isinstance(node, Number | Truth | LimitCosine | Variable)
