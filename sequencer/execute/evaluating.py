"""Expressions in postfix code, evaluated as `sequencer.execute.values` says they are.

A value is a float and a bad bit; a truth is 1.0 or 0.0, and an unknown one is bad.
"""

from __future__ import annotations

import math
from typing import Final

import numpy as np
from numpy.typing import NDArray

from sequencer.execute.jit import compiled, plain
from sequencer.execute.layout import NONE, STATE, Head, Op

__all__ = ["BAD", "evaluate", "holds", "is_finite", "larger", "smaller"]

Code = NDArray[np.int64]
Numbers = NDArray[np.float64]

#: what stands beside a bad value: never looked at
BAD: Final = 0.0
_LARGEST: Final = float(np.finfo(np.float64).max)
_NONE: Final = plain(NONE)
_CELLS: Final = plain(Head.M_CELLS)
_BADS: Final = plain(Head.M_BAD)
_STACK: Final = plain(Head.M_STACK)
_ROOM: Final = plain(Head.STACK)
_END: Final = plain(Op.END)
_NUMBER: Final = plain(Op.NUMBER)
_CELL: Final = plain(Op.CELL)
_IN_STATE: Final = plain(Op.IN_STATE)
_NEGATE: Final = plain(Op.NEGATE)
_ADD: Final = plain(Op.ADD)
_SUBTRACT: Final = plain(Op.SUBTRACT)
_MULTIPLY: Final = plain(Op.MULTIPLY)
_DIVIDE: Final = plain(Op.DIVIDE)
_ABS: Final = plain(Op.ABS)
_SQRT: Final = plain(Op.SQRT)
_MIN: Final = plain(Op.MIN)
_MAX: Final = plain(Op.MAX)
_LESS: Final = plain(Op.LESS)
_LESS_EQUAL: Final = plain(Op.LESS_EQUAL)
_GREATER: Final = plain(Op.GREATER)
_GREATER_EQUAL: Final = plain(Op.GREATER_EQUAL)
_EQUAL: Final = plain(Op.EQUAL)
_AND: Final = plain(Op.AND)
_OR: Final = plain(Op.OR)
_NOT: Final = plain(Op.NOT)


@compiled()
def is_finite(value: float) -> bool:
    """Neither infinite nor not a number."""
    return bool(-_LARGEST <= value <= _LARGEST)


@compiled()
def smaller(a: float, b: float) -> float:
    """`min(a, b)`; of two equal ones the first."""
    return b if b < a else a  # noqa: FURB136 - the rule itself


@compiled()
def larger(a: float, b: float) -> float:
    """`max(a, b)`; of two equal ones the first."""
    return b if a < b else a  # noqa: FURB136 - the rule itself


@compiled()
def _arithmetic(op: int, a: float, b: float) -> float:
    """Two good values; what comes out may be infinite or no number."""
    if op == _ADD:
        return a + b
    if op == _SUBTRACT:
        return a - b
    if op == _MULTIPLY:
        return a * b
    if op == _DIVIDE:
        return a / b if b != 0.0 else math.inf
    return smaller(a, b) if op == _MIN else larger(a, b)


@compiled()
def _compare(op: int, a: float, b: float) -> bool:
    if op == _LESS:
        return a < b
    if op == _LESS_EQUAL:
        return a <= b
    if op == _GREATER:
        return a > b
    if op == _GREATER_EQUAL:
        return a >= b
    return a == b if op == _EQUAL else a != b


@compiled()
def _unary(op: int, value: float, bad: float) -> tuple[float, float]:
    if bad != 0.0:
        return BAD, 1.0
    if op == _NEGATE:
        return -value, 0.0
    if op == _NOT:
        return 1.0 - value, 0.0
    if op == _ABS:
        return abs(value), 0.0
    if value < 0.0:
        return BAD, 1.0
    return math.sqrt(value), 0.0


@compiled()
def _binary(op: int, a: float, a_bad: float, b: float, b_bad: float) -> tuple[float, float]:
    """Kleene's `and` and `or`; for all others one bad side is enough to make the result bad."""
    if op == _AND:
        if (a_bad == 0.0 and a == 0.0) or (b_bad == 0.0 and b == 0.0):
            return 0.0, 0.0
        return (1.0, 0.0) if a_bad == 0.0 and b_bad == 0.0 else (BAD, 1.0)
    if op == _OR:
        if (a_bad == 0.0 and a != 0.0) or (b_bad == 0.0 and b != 0.0):
            return 1.0, 0.0
        return (0.0, 0.0) if a_bad == 0.0 and b_bad == 0.0 else (BAD, 1.0)
    if a_bad != 0.0 or b_bad != 0.0:
        return BAD, 1.0
    if op >= _LESS:
        return (1.0 if _compare(op, a, b) else 0.0), 0.0
    value = _arithmetic(op, a, b)
    return (value, 0.0) if is_finite(value) else (BAD, 1.0)


@compiled()
def evaluate(code: Code, numbers: Numbers, memory: Numbers, at: int) -> tuple[float, float]:
    """(value, bad bit) of the expression whose code begins at `at`."""
    values = code[_STACK]
    bads = values + code[_ROOM]
    cells = code[_CELLS]
    cells_bad = code[_BADS]
    top = -1
    while code[at] != _END:
        op = code[at]
        at += 1
        if op == _CELL:
            top += 1
            memory[values + top] = memory[cells + code[at]]
            memory[bads + top] = memory[cells_bad + code[at]]
            at += 1
        elif op == _NUMBER:
            top += 1
            memory[values + top] = numbers[code[at]]
            memory[bads + top] = 0.0
            at += 1
        elif op == _IN_STATE:
            count = code[at]
            here = 0.0
            for i in range(count):
                if memory[STATE] == code[at + 1 + i]:
                    here = 1.0
            top += 1
            memory[values + top] = here
            memory[bads + top] = 0.0
            at += 1 + count
        elif op in (_NEGATE, _ABS, _SQRT, _NOT):
            value, bad = _unary(op, memory[values + top], memory[bads + top])
            memory[values + top] = value
            memory[bads + top] = bad
        else:
            top -= 1
            value, bad = _binary(
                op,
                memory[values + top],
                memory[bads + top],
                memory[values + top + 1],
                memory[bads + top + 1],
            )
            memory[values + top] = value
            memory[bads + top] = bad
    return memory[values], memory[bads]


@compiled()
def holds(code: Code, numbers: Numbers, memory: Numbers, at: int) -> bool:
    """Whether a condition is true; one that is left out, or unknown, is not."""
    if at == _NONE:
        return False
    value, bad = evaluate(code, numbers, memory, at)
    return bool(bad == 0.0 and value != 0.0)
